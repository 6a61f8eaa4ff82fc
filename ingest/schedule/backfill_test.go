package schedule_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
)

// late is a record that begins in 2024: years before it are an error that says
// so, as one weather archive answers.
type late struct{ asked *[]int }

func (late) Name() string { return "open-meteo" }

func (l late) Fetch(_ context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	*l.asked = append(*l.asked, req.From.Year())
	if req.From.Year() < 2024 {
		return &ingest.Error{Feed: "open-meteo", Where: "answer", Problem: "holds no value", Empty: true}
	}
	return yield(ingest.Series{Key: ingest.Key{Feed: "open-meteo", Site: req.Site, Variable: ingest.AirTemperature, Statistic: ingest.Instant},
		Time: []int64{req.From.Add(time.Hour).UnixMicro()}, Value: []float64{4}})
}

func TestYearsBeforeARecordBeginsAreNoFailure(t *testing.T) {
	store, err := series.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	now := time.Date(2026, 5, 18, 0, 0, 0, 0, time.UTC)
	var asked []int
	var came []schedule.Progress
	in := schedule.Intake{Store: store, Now: func() time.Time { return now }, Backfill: 5 * 8766 * time.Hour, Overlap: 30 * 24 * time.Hour,
		OnProgress: func(p schedule.Progress) { came = append(came, p) }}
	task := schedule.Task{Source: late{&asked}, Request: ingest.Request{Site: "s", Variables: []ingest.Variable{ingest.AirTemperature}}, ByYear: true}
	run := func() schedule.Outcome {
		t.Helper()
		out, err := in.Run(t.Context(), []schedule.RiverTasks{{Name: "wend", Tasks: []schedule.Task{task}}})
		if err != nil || len(out) != 1 {
			t.Fatal(out, err)
		}
		return out[0]
	}
	if o := run(); o.Err != nil || o.Change.Added != 3 || len(asked) != 6 {
		t.Errorf("%+v after asking %v", o, asked)
	}
	if n := len(came); n != 6 || came[n-1].Done != 6 || came[n-1].Pieces != 6 || !came[n-1].To.Equal(now) {
		t.Errorf("progress %+v", came)
	}
	// A record that has ended says so: nothing is hidden in the newest year.
	task.Source = late{&asked}
	in.Backfill, now = 8766*time.Hour, time.Date(2023, 5, 18, 0, 0, 0, 0, time.UTC)
	task.Request.Site = "other"
	if o := run(); !errors.As(o.Err, new(*ingest.Error)) {
		t.Errorf("an empty newest year is %v", o.Err)
	}
}
