package jobs_test

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db/dbtest"
)

// A leader that was killed leaves a lease behind that nobody may take before it
// ends, here in an hour. Whoever lives finds that it is dead and goes on with the
// schedules within seconds; a leader that lives is left alone.
func TestADeadLeaderIsRelievedWithinSeconds(t *testing.T) {
	t.Parallel()
	url := dbtest.PostgresURL(t)
	d := dbtest.Open(t, url)
	if _, err := d.SQL.Exec("INSERT INTO river_leader (elected_at, expires_at, leader_id) VALUES (now(), now() + interval '1 hour', 'killed')"); err != nil {
		t.Fatal(err)
	}
	every, err := jobs.ParseSchedule("@every 1s")
	if err != nil {
		t.Fatal(err)
	}
	var ticks atomic.Int64
	o := options(jobs.Handlers{Tick: func(context.Context, jobs.Tick) error { ticks.Add(1); return nil }})
	o.Periodic = []jobs.Periodic{{Name: "tick", Schedule: every, Make: func(slot time.Time) jobs.Args { return jobs.Tick{Slot: slot} }}}
	leader := func() (id string) {
		if err := d.SQL.QueryRow("SELECT leader_id FROM river_leader").Scan(&id); err != nil {
			return ""
		}
		return id
	}
	began := time.Now()
	first := open(t, d, o)
	run(t, first)
	for ticks.Load() == 0 {
		if time.Since(began) > 30*time.Second {
			t.Fatalf("%s leads, and no slot was kept", leader())
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Logf("the first slot after %s", time.Since(began).Round(10*time.Millisecond))
	if leader() != first.ID() {
		t.Errorf("%s leads, not %s", leader(), first.ID())
	}
	run(t, open(t, dbtest.Open(t, url), o))
	for range 60 { // three looks of the second
		if id := leader(); id != first.ID() {
			t.Fatalf("%q leads, though %s lives", id, first.ID())
		}
		time.Sleep(100 * time.Millisecond)
	}
}
