package work

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/robfig/cron/v3"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/schedule"
)

// heap is a queue that keeps what it was given.
type heap struct{ all []jobs.Args }

func (h *heap) AddTx(_ context.Context, _ *db.Tx, all ...jobs.Args) (int, error) {
	h.all = append(h.all, all...)
	return len(all), nil
}

func (*heap) Now() time.Time { return time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC) }

type silent struct{}

func (silent) Name() string                                                           { return "usgs" }
func (silent) Fetch(context.Context, ingest.Request, func(ingest.Series) error) error { return nil }

func TestTheQuestionsOfASlotAreSpreadOverTheJitterOfTheConfig(t *testing.T) {
	d, err := db.OpenMigrated(t.Context(), "sqlite://"+t.TempDir()+"/e.db")
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	every, err := jobs.ParseSchedule("*/15 * * * *")
	if err != nil {
		t.Fatal(err)
	}
	slot := time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		jitter, most, least time.Duration
	}{
		{0, 80 * time.Second, 20 * time.Second}, // forty rivers at two seconds
		{5 * time.Minute, 5 * time.Minute, 2 * time.Minute},
		{time.Hour, 15 * time.Minute, 5 * time.Minute}, // never beyond the next slot
	} {
		q := &heap{}
		h := &Service{Queue: q, DB: d, Feeds: map[string]cron.Schedule{"usgs": every}, Jitter: map[string]time.Duration{"usgs": c.jitter},
			Tasks: func() (out []schedule.RiverTasks, _ error) {
				for i := range 40 {
					out = append(out, schedule.RiverTasks{Name: fmt.Sprintf("river-%d", i), Tasks: []schedule.Task{{Source: silent{}}}})
				}
				return out, nil
			}}
		if err := h.Plan(t.Context(), jobs.Plan{What: jobs.PlanFetch, Feed: "usgs", Slot: slot}); err != nil {
			t.Fatal(err)
		}
		last := time.Duration(0)
		for _, a := range q.all {
			l, ok := a.(jobs.At)
			if !ok || l.At.Before(slot) || l.At.Sub(slot) >= c.most {
				t.Errorf("jitter %s: %+v", c.jitter, a)
			}
			last = max(last, l.At.Sub(slot))
		}
		if len(q.all) != 40 || last < c.least {
			t.Errorf("jitter %s: %d questions, the last %s after the slot", c.jitter, len(q.all), last)
		}
	}
}
