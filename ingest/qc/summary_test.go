package qc

import (
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

// A unit is doubted just beyond each bound, and not on it.
func TestAUnitIsDoubtedBeyondItsBounds(t *testing.T) {
	series := func(v ingest.Variable, unit string, days int, value ...float64) ingest.Series {
		s := ingest.Series{Key: ingest.Key{Variable: v}, SourceUnit: unit}
		begin := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		for i, x := range value {
			s.Time = append(s.Time, begin.AddDate(0, 0, i*days/max(1, len(value)-1)).UnixMicro())
			s.Value = append(s.Value, x)
		}
		return s
	}
	many := func(n int, of float64, last ...float64) []float64 {
		var out []float64
		for range n {
			out = append(out, of)
		}
		return append(out, last...)
	}
	for _, c := range []struct {
		name string
		s    ingest.Series
		says string // empty: nothing
	}{
		{"warm water", series(ingest.WaterTemperature, "°C", 30, many(9, 33)...), ""},
		{"water that is half above 33", series(ingest.WaterTemperature, "°C", 30, many(9, 33.1)...), "looks like °F"},
		{"one hot reading", series(ingest.WaterTemperature, "°C", 30, many(9, 12, 60)...), ""},
		{"icy water", series(ingest.WaterTemperature, "°F", 30, many(9, -1)...), ""},
		{"water that is half below -1", series(ingest.WaterTemperature, "°F", 30, many(9, -1.1)...), "looks like °C"},
		{"hot air", series(ingest.AirTemperature, "°C", 30, many(40, 50)...), ""},
		{"air that is often above 50", series(ingest.AirTemperature, "°C", 30, many(40, 50.1)...), "looks like °F"},
		{"air of a cold year", series(ingest.AirTemperature, "°F", 364, many(40, 9.9)...), "looks like °C"},
		{"air of a cold winter", series(ingest.AirTemperature, "°F", 200, many(40, 9.9)...), ""},
		{"air of a year with a warm day", series(ingest.AirTemperature, "°F", 364, many(40, 0, 10)...), ""},
	} {
		if got := Summarize(c.s, time.Time{}).LooksLike; (got == "") != (c.says == "") || !strings.HasPrefix(got, c.says) {
			t.Errorf("%s: %q", c.name, got)
		}
	}
}
