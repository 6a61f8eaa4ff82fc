package nws

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

func grid(layers string) string {
	return `{"type":"Feature","properties":{"gridId":"PDT","gridX":"31","gridY":110,"validTimes":"2026-05-01T06:00:00+00:00/P7D",` + layers + `}}`
}

func TestDurationsAreReadOrRefused(t *testing.T) {
	for _, c := range []struct {
		in   string
		want time.Duration
	}{
		{"PT1H", time.Hour}, {"PT14H", 14 * time.Hour}, {"P1D", 24 * time.Hour}, {"P1DT2H", 26 * time.Hour}, {"P7DT14H", 182 * time.Hour}, {"PT30M", 30 * time.Minute},
		{"", 0}, {"P", 0}, {"PT", 0}, {"P1DT", 0}, {"P1M", 0}, {"P1Y", 0}, {"PT1D", 0}, {"1H", 0}, {"PT1H2H", 0}, {"P1W", 0}, {"PT-1H", 0}, {"PT1.5H", 0}, {"P9999D", 0}, {"PT0H", 0}, {"PTT1H", 0},
	} {
		got, err := ingest.ParsePeriod(c.in)
		if got != c.want || (err == nil) != (c.want > 0) {
			t.Errorf("%q: got %v, %v; want %v", c.in, got, err, c.want)
		}
	}
}

func TestAnIntervalOfATemperatureHoldsForEachOfItsHours(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(grid(`"temperature":{"uom":"wmoUnit:degC","values":[{"validTime":"2026-05-01T06:00:00+00:00/PT2H","value":9},{"validTime":"2026-05-01T08:00:00+00:00/PT1H","value":null}]}`)))
	if err != nil || len(s) != 1 || s[0].Len() != 3 || s[0].Site != "PDT-31,110" {
		t.Fatalf("got %v, %v", s, err)
	}
	if s[0].Value[1] != 9 || !math.IsNaN(s[0].Value[2]) || s[0].At(2).Hour() != 8 {
		t.Errorf("got %v at %v", s[0].Value, s[0].Time)
	}
}

func TestRainOfAnIntervalIsDividedSoThatItsHoursAddUp(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(grid(`"quantitativePrecipitation":{"uom":"wmoUnit:mm","values":[{"validTime":"2026-05-01T06:00:00+00:00/PT6H","value":3},{"validTime":"2026-05-01T12:00:00Z/PT1H","value":1}]}`)))
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, v := range s[0].Value {
		sum += v
	}
	if s[0].Len() != 7 || sum != 4 || s[0].At(0).Hour() != 7 || s[0].Qualifier[0] != "part of PT6H" || s[0].Qualifier[6] != "" || s[0].Period != ingest.Hourly {
		t.Errorf("got %v from %v, qualifiers %q", s[0].Value, s[0].At(0), s[0].Qualifier)
	}
}

func TestThunderHasNoUnitAndMayBeEmpty(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(grid(`"probabilityOfThunder":{"values":[{"validTime":"2026-05-01T06:00:00+00:00/P1DT2H","value":15}]}`)))
	if err != nil || len(s) != 1 || s[0].Len() != 26 || s[0].Value[25] != 15 {
		t.Errorf("got %v, %v", s, err)
	}
	var told string
	s, err = Parser{Skipped: func(x ingest.Skipped) { told += x.String() }}.Parse(strings.NewReader(grid(`"probabilityOfThunder":{"values":[]}`)))
	if err != nil || len(s) != 0 || !strings.Contains(told, "leaves it empty") {
		t.Errorf("an empty layer gave %v, %v, told %q", s, err, told)
	}
}

func TestExtremesOfHalfDaysAndDepthsOfSnowAreLeftOutAndTold(t *testing.T) {
	var told []string
	one := `{"uom":"wmoUnit:degC","values":[{"validTime":"2026-05-01T06:00:00+00:00/PT13H","value":9}]}`
	s, err := Parser{Skipped: func(x ingest.Skipped) { told = append(told, x.What) }}.Parse(strings.NewReader(grid(`"maxTemperature":` + one + `,"snowfallAmount":` + one)))
	if err != nil || len(s) != 0 || strings.Join(told, ";") != "layer maxTemperature;layer snowfallAmount" {
		t.Errorf("got %v, %v, told %q", s, err, told)
	}
}

func TestOldAndNewSpellingsOfAnObservation(t *testing.T) {
	for _, c := range []struct{ name, unit, qc string }{{"of 2019", "unit:degC", "qc:V"}, {"of 2024", "wmoUnit:degC", "V"}} {
		t.Run(c.name, func(t *testing.T) {
			body := fmt.Sprintf(`{"type":"Feature","geometry":{"type":"Point","coordinates":[-121.2,44.3]},"properties":{"station":"https://api.weather.gov/stations/KRDM","timestamp":"2026-05-01T06:56:00+00:00","temperature":{"unitCode":%q,"value":null,"qualityControl":%q},"windSpeed":{"unitCode":"wmoUnit:km_h-1","value":36,"qualityControl":"X"}}}`, c.unit, c.qc)
			s, err := Parser{}.Parse(strings.NewReader(body))
			if err != nil || len(s) != 2 {
				t.Fatalf("got %v, %v", s, err)
			}
			if s[0].Site != "KRDM" || !math.IsNaN(s[0].Value[0]) || s[0].Qualifier[0] != "V" || s[1].Value[0] != 10 || s[1].Qualifier[0] != "X" || s[0].Place.Lat != 44.3 {
				t.Errorf("got %+v", s)
			}
		})
	}
}

func TestHourlyForecastInFahrenheit(t *testing.T) {
	s, err := Parser{Site: "x"}.Parse(strings.NewReader(`{"type":"Feature","properties":{"periods":[{"startTime":"2026-05-01T06:00:00-07:00","endTime":"2026-05-01T07:00:00-07:00","temperature":50,"temperatureUnit":"F"}]}}`))
	if err != nil || s[0].Value[0] != 10 || s[0].At(0).Hour() != 13 {
		t.Errorf("got %v, %v", s, err)
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", " ", "is empty", false},
		{"a web page", "<html>", "web page", false},
		{"a point at sea", `{"type":"https://api.weather.gov/problems/InvalidPoint","title":"Data Unavailable For Requested Point","status":404,"detail":"no"}`, "the United States only", false},
		{"an expired grid passes", `{"type":"https://api.weather.gov/problems/ForecastGridExpired","title":"Expired","status":503,"detail":"d"}`, "not issued", true},
		{"a fault of the server passes", `{"type":"https://api.weather.gov/problems/UnexpectedProblem","title":"Unexpected","status":500,"detail":"d"}`, "temporary", true},
		{"cut on its way", `{"type":"Feature","properties":{"gridId":"PD`, "ends early", true},
		{"a duration in months", grid(`"temperature":{"uom":"wmoUnit:degC","values":[{"validTime":"2026-05-01T06:00:00Z/P1M","value":9}]}`), `temperature.values[0]: validTime "P1M"`, false},
		{"a unit nobody knows", grid(`"temperature":{"uom":"wmoUnit:furlong","values":[{"validTime":"2026-05-01T06:00:00Z/PT1H","value":9}]}`), "furlong", false},
		{"something else", `{"type":"Feature","properties":{"a":1}}`, "neither a grid", false},
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

func TestPointsAreWrittenAsTheServiceWantsThem(t *testing.T) {
	for in, want := range map[float64]string{44.70: "44.7", -121.2345678: "-121.2346", 45: "45", -0.00001: "0", 100: "100"} {
		if got := degrees(in); got != want {
			t.Errorf("%g is written %q, want %q", in, got, want)
		}
	}
}
