package bafu

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

func web(root, parameter string) string {
	return `<locations ` + root + `><station number="2009" name="Brig" water-body-name="Wend" easting="700000" northing="100000">` + parameter + `</station></locations>`
}

func temperature(at, value string) string {
	return `<parameter name="Wassertemperatur" unit="°C" field-name="F1"><datetime>` + at + `</datetime><value temperature-class="3">` + value + `</value><max-24h>11</max-24h></parameter>`
}

func TestTheOffsetOfTheWallClockIsPutAside(t *testing.T) {
	for _, c := range []struct{ name, root, at, want string }{
		{"summer, labelled +01:00", `export-time="2021-08-23T06:41:00+01:00"`, "2021-08-23T07:30:00+01:00", "2021-08-23T05:30:00Z"},
		{"winter, labelled +01:00", `export-time="2021-01-23T07:41:00+01:00"`, "2021-01-23T07:30:00+01:00", "2021-01-23T06:30:00Z"},
		{"no offset", `export-time="2020-07-11T15:15:54" timezone="GMT+2"`, "2020-07-11T15:10:00", "2020-07-11T13:10:00Z"},
		{"the repeated hour, first pass", `export-time="2021-10-31T01:41:00+01:00"`, "2021-10-31T02:30:00+01:00", "2021-10-31T00:30:00Z"},
		{"the repeated hour, second pass", `export-time="2021-10-31T02:41:00+01:00"`, "2021-10-31T02:30:00+01:00", "2021-10-31T01:30:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Parser{}.Parse(strings.NewReader(web(c.root, temperature(c.at, "10.56"))))
			if err != nil {
				t.Fatal(err)
			}
			if got := s[0].At(0).Format(time.RFC3339); got != c.want || s[0].Value[0] != 10.56 {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestSwissCoordinatesBecomeDegrees(t *testing.T) {
	// The worked example of the formulas, recalled: 46°02'38.86" N, 8°43'49.80" E.
	lat, lon := wgs84(700000, 100000)
	if math.Abs(lat-(46+2.0/60+38.86/3600)) > 2e-5 || math.Abs(lon-(8+43.0/60+49.80/3600)) > 2e-5 {
		t.Errorf("got %.6f, %.6f", lat, lon)
	}
	if lat, _ := wgs84(2700000, 1100000); !math.IsNaN(lat) {
		t.Errorf("coordinates of the newer frame became %g", lat)
	}
}

func TestNoReadingAndMissingReadingAreTwoThings(t *testing.T) {
	var told []string
	body := web("", temperature("1900-01-01T01:00:00", "NaN")+
		`<parameter type="10" variant="31" name="Abfluss m3/s" unit="m3/s"><datetime>2020-07-11T13:00:00</datetime><value>NaN</value></parameter>`+
		`<parameter type="22" variant="10" name="Abfluss l/s" unit="l/s"><datetime>2020-07-11T13:00:00</datetime><value>250</value></parameter>`+
		`<parameter type="99" variant="1" name="Trübung" unit="NTU"><datetime>2020-07-11T13:00:00</datetime><value>250</value></parameter>`)
	s, err := Parser{Skipped: func(x ingest.Skipped) { told = append(told, x.String()) }}.Parse(strings.NewReader(body))
	if err != nil || len(s) != 2 || s[0].MissingCount() != 1 || s[1].Value[0] != 0.25 || s[1].TimeSeries != "22-10" {
		t.Fatalf("got %+v, %v", s, err)
	}
	if got := strings.Join(told, "; "); !strings.Contains(got, "no reading at present") || !strings.Contains(got, "Trübung") {
		t.Errorf("told %q", got)
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", "", "is empty", false},
		{"a web page", "<html>", "web page", false},
		{"not XML", "<locations><<", "is not XML", false},
		{"cut on its way", web("", temperature("2021-08-23T07:30:00", "1"))[:150], "ends early", true},
		{"a time that is none", web("", temperature("23.8.2021", "1")), `"23.8.2021"`, false},
		{"an hour that never was", web("", temperature("2021-03-28T02:30:00+01:00", "1")), "leave out", false},
		{"a value that is none", web("", temperature("2021-08-23T07:30:00", "warm")), `"warm" is not a number`, false},
		{"a unit nobody knows", web("", strings.Replace(temperature("2021-08-23T07:30:00", "1"), "°C", "°R", 1)), "°R", false},
		{"a station without number", strings.Replace(web("", temperature("2021-08-23T07:30:00", "1")), "2009", "", 1), "no number", false},
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
	for _, b := range replay.Seeds(f, 64<<10, "ch-bafu") {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		series, err := Parser{}.Parse(strings.NewReader(string(b)))
		if e := (*ingest.Error)(nil); err != nil && !errors.As(err, &e) {
			t.Fatalf("the error %v is no *ingest.Error", err)
		}
		for i := range series {
			if err := series[i].Check(); err != nil {
				t.Fatal(err)
			}
			_ = fmt.Sprint(series[i].Key)
		}
	})
}
