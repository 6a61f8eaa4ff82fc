package qc

import (
	"fmt"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

func TestADailyMinimumAboveItsMaximumFailsBoth(t *testing.T) {
	daily := func(stat ingest.Statistic, values ...float64) ingest.Series {
		s := series(ingest.WaterTemperature, 24*time.Hour, values...)
		s.Statistic, s.Period = stat, ingest.Daily
		return s
	}
	low, high := daily(ingest.Min, 8, 9, 12, 9, nan), daily(ingest.Max, 11, 9, 10, nan, 12)
	high.Time[4] += int64(24 * time.Hour / time.Microsecond) // the minimum of that day has no maximum
	for _, c := range []struct {
		name  string
		s     ingest.Series
		other *ingest.Series
		want  string
	}{
		{"of the minima the third", low, &high, "22429"},
		{"of the maxima too", high, &low, "22492"},
		{"nothing to hold them against", low, nil, "22229"},
		{"means are not judged by it", daily(ingest.Mean, 20, 20), &high, "22"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := flags(t, c.s, only(), Context{Other: c.other}); got != c.want {
				t.Errorf("flags %s, want %s", got, c.want)
			}
		})
	}
	got, rep := Check(low, only(), Context{Other: &high})
	if got.FlagTest[2] != TestExtremes || rep.Tests[TestExtremes] != 1 {
		t.Error(got.FlagTest, fmt.Sprint(rep))
	}
}
