package schedule_test

import (
	"context"
	"math"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
)

// river is six years of a river's hours, with water as warm as in July on one
// day of one January and on the last day of all.
type river struct{ until time.Time }

func (river) Name() string { return "csv" }

func (r river) Fetch(_ context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	s := ingest.Series{Key: ingest.Key{Feed: "csv", Site: req.Site, Variable: ingest.WaterTemperature, Statistic: ingest.Instant}, SourceUnit: "°C"}
	for t := req.From.Truncate(time.Hour).Add(time.Hour); t.Before(r.until); t = t.Add(time.Hour) {
		days := float64(t.YearDay()) + float64(t.Hour())/24
		v := 9 - 6*math.Cos(2*math.Pi*(days-15)/365.25) - 1.2*math.Cos(2*math.Pi*days) + 0.01*float64(t.Unix()/3600%7)
		if t.Year() == 2024 && t.Month() == time.January && t.Day() == 10 || t.Format(time.DateOnly) == "2026-01-20" {
			v += 12
		}
		s.Time, s.Value = append(s.Time, t.UnixMicro()), append(s.Value, v)
	}
	return yield(s)
}

func TestWaterOutOfSeasonIsSuspectInTheFirstAnswerAndInLaterOnes(t *testing.T) {
	store, err := series.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	now := time.Date(2026, 1, 19, 0, 0, 0, 0, time.UTC)
	run := func() {
		t.Helper()
		in := schedule.Intake{Store: store, Now: func() time.Time { return now }, Backfill: 6 * 8766 * time.Hour, Overlap: 24 * time.Hour}
		out, err := in.Run(t.Context(), []schedule.RiverTasks{{Name: "wend", Tasks: []schedule.Task{{Source: river{now},
			Request: ingest.Request{Site: "w", Variables: []ingest.Variable{ingest.WaterTemperature}}}}}})
		if err != nil || len(out) != 1 || out[0].Err != nil {
			t.Fatalf("%+v, %v", out, err)
		}
	}
	run()
	now = now.AddDate(0, 0, 2)
	run()
	keys, err := store.Keys(t.Context())
	if err != nil || len(keys) != 1 {
		t.Fatal(keys, err)
	}
	s, err := store.Read(t.Context(), keys[0], series.Query{})
	if err != nil {
		t.Fatal(err)
	}
	out, in := 0, 0
	for i, f := range s.Flag {
		at := s.At(i)
		warm := at.Year() == 2024 && at.Month() == time.January && at.Day() == 10 || at.Format(time.DateOnly) == "2026-01-20"
		switch {
		case warm && f != ingest.Suspect:
			t.Errorf("%s: flag %d", at, f)
		case warm && s.FlagTest[i] == qc.TestClimatology:
			out++
		case !warm && s.FlagTest[i] == qc.TestClimatology && f == ingest.Suspect:
			in++
		}
	}
	if out < 40 || in > 0 { // 48 hours, of which the step up and down is another test's
		t.Errorf("%d warm hours and %d others are out of season", out, in)
	}
}
