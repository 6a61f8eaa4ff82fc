package nve

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

func answer(step, parameter, method, unit, observations string) string {
	return fmt.Sprintf(`{"currentLink":"https://example.org/api/v1/Observations?StationId=2.13.0&ResolutionTime=%s","data":[{"stationId":"2.13.0","stationName":null,"parameter":%s,"serieVersionNo":1,"method":%q,"unit":%q,"observations":[%s]}]}`, step, parameter, method, unit, observations)
}

func TestReadingsKeepTheirCodesAndNullIsMissing(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(answer("0", "1003", "Instantaneous", "°C", `{"time":"2026-05-01T10:00:00Z","value":4.5,"correction":0,"quality":1},{"time":"2026-05-01T11:00:00Z","value":null,"correction":3,"quality":2}`)))
	if err != nil || len(s) != 1 || s[0].String() != "nve/2.13.0/water_temperature/instant" {
		t.Fatalf("got %v, %v", s, err)
	}
	if s[0].MissingCount() != 1 || s[0].Qualifier[0] != "quality 1" || s[0].Qualifier[1] != "quality 2,correction 3" || s[0].Approval[0] != ingest.Provisional || s[0].Approval[1] != ingest.ApprovalUnknown {
		t.Errorf("got %+v", s[0])
	}
}

func TestADayIsOneOfNorwegianNormalTime(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(answer("1440", "1001", "Mean", "m³/s", `{"time":"2026-04-30T23:00:00Z","value":4.5},{"time":"2026-05-02T11:00:00Z","value":4.5}`)))
	if err != nil || s[0].Period != ingest.Daily {
		t.Fatalf("got %v, %v", s, err)
	}
	if a, b := s[0].At(0).Format(time.DateOnly), s[0].At(1).Format(time.DateOnly); a != "2026-05-01" || b != "2026-05-02" {
		t.Errorf("got %s and %s", a, b)
	}
}

func TestWhatIsLeftOutIsTold(t *testing.T) {
	for body, want := range map[string]string{
		answer("60", "1001", "Mean", "m³/s", `{"time":"2026-05-01T10:00:00Z","value":1}`):         "begin or end",
		answer("0", "5110", "Instantaneous", "m", `{"time":"2026-05-01T10:00:00Z","value":1}`):    "parameter 5110",
		answer("1440", "1001", "Maximum", "m³/s", `{"time":"2026-05-01T10:00:00Z","value":null}`): "method Maximum",
	} {
		var told string
		s, err := Parser{Skipped: func(x ingest.Skipped) { told += x.String() }}.Parse(strings.NewReader(body))
		if err != nil || len(s) != 0 || !strings.Contains(told, want) {
			t.Errorf("got %v, %v, told %q, want %q", s, err, told, want)
		}
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", " ", "is empty", false},
		{"a web page", "<html>", "web page", false},
		{"a refusal", `{"title":"No key","status":401}`, "No key", false},
		{"something else", `{"a":1}`, `no member "data"`, false},
		{"garbled", `{"data":7}`, "expected JSON", false},
		{"cut on its way", `{"data":[{"stationId":"2.1`, "ends early", true},
		{"a time without offset", answer("0", "1001", "Instantaneous", "m³/s", `{"time":"2026-05-01T10:00:00","value":1}`), "data[0].observations[0].time", false},
		{"a unit nobody knows", answer("0", "1001", "Instantaneous", "buckets", ``), "buckets", false},
		{"no station", `{"data":[{"parameter":1001}]}`, "does not name its station", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parser{}.Parse(strings.NewReader(c.body))
			var e *ingest.Error
			if !errors.As(err, &e) || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want an *ingest.Error with %q", err, c.want)
			}
			if e.Retryable != c.retry {
				t.Errorf("retryable is %v, want %v", e.Retryable, c.retry)
			}
		})
	}
}

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "no-nve") {
		f.Add(b)
	}
	f.Add([]byte(answer("1440", "1001", "Mean", "m³/s", `{"time":"2026-04-30T23:00:00Z","value":4.5}`)))
	f.Fuzz(func(t *testing.T, b []byte) {
		series, err := Parser{}.Parse(strings.NewReader(string(b)))
		if e := (*ingest.Error)(nil); err != nil && !errors.As(err, &e) {
			t.Fatalf("the error %v is no *ingest.Error", err)
		}
		for i := range series {
			if err := series[i].Check(); err != nil {
				t.Fatal(err)
			}
		}
	})
}
