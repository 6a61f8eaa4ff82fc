package work

import (
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/schedule"
)

// A server that starts hours after a slot issues no outlook without readings: it
// leaves out a river that was never asked for, and gives the others time for a
// fetch first. A slot that has just come is kept to the second.
func TestAMissedSlotIsIssuedAfterTheFirstFetch(t *testing.T) {
	d, err := db.OpenMigrated(t.Context(), "sqlite://"+t.TempDir()+"/e.db")
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	now := new(heap).Now()
	if err := db.PutFeedState(t.Context(), d.SQL, db.FeedState{Feed: "usgs", Item: "asked", Tried: now}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ slot, issue time.Time }{
		{now.Add(-6 * time.Hour), now.Add(3 * time.Minute)},
		{now.Add(-11 * time.Minute), now.Add(3 * time.Minute)},
		{now.Add(-time.Minute), now.Add(-time.Minute)},
	} {
		q := &heap{}
		h := &Service{Queue: q, DB: d, Rivers: []forecast.River{{Slug: "new"}, {Slug: "known"}},
			Tasks: func() (out []schedule.RiverTasks, _ error) {
				for name, site := range map[string]string{"new": "never-asked", "known": "asked"} {
					out = append(out, schedule.RiverTasks{Name: name, Tasks: []schedule.Task{{Source: silent{}, Request: ingest.Request{Site: site}}}})
				}
				return out, nil
			}}
		if err := h.Plan(t.Context(), jobs.Plan{What: jobs.PlanOutlooks, Slot: c.slot}); err != nil {
			t.Fatal(err)
		}
		want := jobs.At{Args: jobs.Outlook{River: "known", Issue: c.issue}, At: c.issue}
		if len(q.all) != 1 || q.all[0] != jobs.Args(want) {
			t.Errorf("slot %s: %+v, not %+v alone", c.slot.Format("15:04"), q.all, want)
		}
	}
}
