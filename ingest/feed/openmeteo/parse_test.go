package openmeteo

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

const head = `{"latitude":44.7,"longitude":-121.2,"elevation":500,"utc_offset_seconds":0,"timezone":"GMT",`

func parse(t *testing.T, body string) []ingest.Series {
	t.Helper()
	s, err := Parser{}.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestTheColumnWithoutANumberIsMemberOne(t *testing.T) {
	s := parse(t, head+`"hourly_units":{"time":"iso8601","temperature_2m":"°C","temperature_2m_member01":"°C","temperature_2m_member02":"°C","precipitation":"mm"},
		"hourly":{"time":["2026-05-01T00:00"],"temperature_2m":[1],"temperature_2m_member01":[2],"temperature_2m_member02":[3],"precipitation":[0]}}`)
	if len(s) != 4 {
		t.Fatalf("%d series, want 4", len(s))
	}
	for i, want := range []int{1, 2, 3, 0} { // precipitation has no numbered sisters: it is no member
		if s[i].Member != want {
			t.Errorf("series %d (%s) has member %d, want %d", i, s[i].Variable, s[i].Member, want)
		}
		if i < 3 && s[i].Value[0] != float64(want) {
			t.Errorf("member %d has value %g", want, s[i].Value[0])
		}
	}
}

func TestTheMemberStandsBeforeTheModel(t *testing.T) {
	s := parse(t, head+`"hourly_units":{"temperature_2m_icon_seamless_eps":"°C","temperature_2m_member01_icon_seamless_eps":"°C","temperature_2m_ecmwf_ifs025_ensemble":"°C"},
		"hourly":{"time":["2026-05-01T00:00"],"temperature_2m_icon_seamless_eps":[1],"temperature_2m_member01_icon_seamless_eps":[2],"temperature_2m_ecmwf_ifs025_ensemble":[3]}}`)
	got := []string{}
	for _, x := range s {
		got = append(got, x.String())
	}
	want := "open-meteo/44.7,-121.2/air_temperature/instant/ts=icon_seamless_eps/member=01 " +
		"open-meteo/44.7,-121.2/air_temperature/instant/ts=icon_seamless_eps/member=02 " +
		"open-meteo/44.7,-121.2/air_temperature/instant/ts=ecmwf_ifs025_ensemble"
	if strings.Join(got, " ") != want {
		t.Errorf("keys are\n%s, want\n%s", strings.Join(got, "\n"), want)
	}
}

func TestAColumnThatOnlyBeginsLikeAVariableIsNotTaken(t *testing.T) {
	var skipped []string
	s, err := Parser{Skipped: func(s ingest.Skipped) { skipped = append(skipped, s.What) }}.Parse(strings.NewReader(head +
		`"hourly_units":{"precipitation_probability":"%","temperature_2m_spread":"K","temperature_2m":"°C"},
		"hourly":{"time":["2026-05-01T00:00"],"precipitation_probability":[80],"temperature_2m_spread":[0.3],"temperature_2m":[9]}}`))
	if err != nil || len(s) != 1 || s[0].TimeSeries != "members-mean" {
		t.Fatalf("got %d series, %v", len(s), err)
	}
	if strings.Join(skipped, " ") != "hourly.precipitation_probability hourly.temperature_2m_spread" {
		t.Errorf("skipped %q", skipped)
	}
}

func TestLocalTimesHaveTheOffsetTheAnswerStates(t *testing.T) {
	for _, c := range []struct{ name, offset, stamp, units, want string }{
		{"nine and a half hours east", "34200", `"2026-05-01T00:00"`, "iso8601", "2026-04-30T14:30:00Z"},
		{"nine hours west, written Etc/GMT+9", "-32400", `"2026-05-01T00:00"`, "iso8601", "2026-05-01T09:00:00Z"},
		{"unix time is UTC whatever the offset", "-32400", `1777593600`, "unixtime", "2026-05-01T00:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := parse(t, `{"latitude":1,"longitude":2,"utc_offset_seconds":`+c.offset+`,"hourly_units":{"time":"`+c.units+`","temperature_2m":"°C"},"hourly":{"time":[`+c.stamp+`],"temperature_2m":[7]}}`)
			if got := s[0].At(0).Format(time.RFC3339); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestSumsKnowTheStepTheyCover(t *testing.T) {
	s := parse(t, head+`"hourly_units":{"time":"iso8601","precipitation":"mm","snowfall":"cm"},
		"hourly":{"time":["2026-05-01T00:00","2026-05-01T03:00"],"precipitation":[1.5,null],"snowfall":[7,0]}}`)
	if s[0].Period != "PT3H" || s[0].Statistic != ingest.Sum || !math.IsNaN(s[0].Value[1]) {
		t.Errorf("precipitation is %s with %v", s[0].Key, s[0].Value)
	}
	if s[1].Value[0] != 10 {
		t.Errorf("7 cm of snow are %g mm of water, want 10", s[1].Value[0])
	}
}

func TestUnitsOfTheAnswerAreConverted(t *testing.T) {
	s := parse(t, head+`"hourly_units":{"time":"iso8601","temperature_2m":"°F","wind_speed_10m":"km/h"},
		"hourly":{"time":["2026-05-01T00:00"],"temperature_2m":[50],"wind_speed_10m":[36]}}`)
	if s[0].Value[0] != 10 || s[1].Value[0] != 10 {
		t.Errorf("50 °F and 36 km/h became %g °C and %g m/s, want 10 and 10", s[0].Value[0], s[1].Value[0])
	}
}

func TestSeveralPlacesComeAsAnArray(t *testing.T) {
	one := func(lat string) string {
		return `{"latitude":` + lat + `,"longitude":2,"daily_units":{"temperature_2m_max":"°C"},"daily":{"time":["2026-05-01"],"temperature_2m_max":[7]}}`
	}
	s := parse(t, "["+one("1")+","+one("3")+"]")
	if len(s) != 2 || s[0].Site != "1,2" || s[1].Site != "3,2" || s[1].Period != ingest.Daily || s[1].Statistic != ingest.Max {
		t.Errorf("got %v", s)
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", "", "is empty", false},
		{"a web page", "<!doctype html>", "web page", false},
		{"a refusal", `{"error":true,"reason":"Cannot initialize X"}`, "Cannot initialize X", false},
		{"too many requests", `{"error":true,"reason":"Minutely API request limit exceeded."}`, "limit exceeded", true},
		{"a place that no model covers is NaN, which is no JSON", `{"latitude":nan,"longitude":nan}`, "covers this place", false},
		{"cut on its way", head + `"hourly":{"time":["2026-05-0`, "ends early", true},
		{"garbled", head + `"hourly":#`, "not the expected JSON", false},
		{"no block", head + `"x":1}`, "neither", false},
		{"a column shorter than the times", head + `"hourly_units":{"temperature_2m":"°C"},"hourly":{"time":["2026-05-01T00:00"],"temperature_2m":[]}}`, "0 values for 1 times", false},
		{"an unknown unit", head + `"hourly_units":{"temperature_2m":"°R"},"hourly":{"time":["2026-05-01T00:00"],"temperature_2m":[1]}}`, `"°R"`, false},
		{"a word for a value", head + `"hourly_units":{"temperature_2m":"°C"},"hourly":{"time":["2026-05-01T00:00"],"temperature_2m":["warm"]}}`, "hourly.temperature_2m[0]", false},
		{"a value out of range", head + `"hourly_units":{"temperature_2m":"°C"},"hourly":{"time":["2026-05-01T00:00"],"temperature_2m":[1e999]}}`, "out of range", false},
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
