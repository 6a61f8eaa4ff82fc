package jobs_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

var issue = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

func all() map[string]int {
	return map[string]int{jobs.Feeds: 4, jobs.Model: 4, jobs.Mail: 2, jobs.Backtest: 2}
}

func options(h jobs.Handlers) jobs.Options {
	return jobs.Options{Log: zerolog.Nop(), Handlers: h, Workers: all(), Pace: 20 * time.Millisecond, StopAfter: 5 * time.Second}
}

func open(t testing.TB, d *db.DB, o jobs.Options) *jobs.Queue {
	t.Helper()
	q, err := jobs.Open(t.Context(), d, o)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// run starts a queue and stops it with the test, or when stop is called.
func run(t testing.TB, q *jobs.Queue) (stop func()) {
	t.Helper()
	if err := q.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	var once sync.Once
	stop = func() {
		once.Do(func() {
			ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
			defer cancel()
			if err := q.Stop(ctx); err != nil {
				t.Error(err)
			}
		})
	}
	t.Cleanup(stop)
	return stop
}

func add(t testing.TB, q *jobs.Queue, a ...jobs.Args) int {
	t.Helper()
	n, err := q.Add(t.Context(), a...)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// until waits for something that must come true soon.
func until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(90 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("waited in vain until %s", what)
}

func one(t testing.TB, q *jobs.Queue, kind string) jobs.Job {
	t.Helper()
	l, err := q.List(t.Context(), jobs.Filter{Kinds: []string{kind}})
	if err != nil || len(l) != 1 {
		t.Fatalf("jobs of kind %s: %v, %v", kind, l, err)
	}
	return l[0]
}

func TestTheSameKeysAreOneJob(t *testing.T) {
	t.Parallel()
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		var calls atomic.Int64
		q := open(t, d, options(jobs.Handlers{Outlook: func(context.Context, jobs.Outlook) error { calls.Add(1); return nil }}))
		key := jobs.Outlook{River: "wend", Issue: issue}
		for i, want := range []int{2, 0} {
			if n := add(t, q, key, jobs.Outlook{River: "garrow", Issue: issue}, key); n != want {
				t.Errorf("adding %d: %d were new, want %d", i, n, want)
			}
		}
		run(t, q)
		until(t, "both are done", func() bool { n, _ := q.Unfinished(t.Context()); return n == 0 })
		if n := add(t, q, key); n != 0 {
			t.Error("a job that was done was added again")
		}
		if calls.Load() != 2 {
			t.Errorf("%d calls for 2 keys", calls.Load())
		}
	})
}

func TestAJobIsDueOnlyIfItsTransactionCommits(t *testing.T) {
	t.Parallel()
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		q := open(t, d, options(jobs.Handlers{}))
		stop := errors.New("killed here")
		for _, end := range []error{stop, nil} {
			err := d.Tx(t.Context(), func(tx *db.Tx) error {
				if _, err := q.AddTx(t.Context(), tx, jobs.Outlook{River: "wend", Issue: issue}); err != nil {
					return err
				}
				if err := db.PutArtefact(t.Context(), tx, db.Artefact{Name: "a", SHA256: "b", Made: issue}); err != nil {
					return err
				}
				return end
			})
			if !errors.Is(err, end) {
				t.Fatal(err)
			}
			n, err := q.Unfinished(t.Context())
			var files int
			missing := d.SQL.QueryRowContext(t.Context(), "SELECT count(*) FROM artefact WHERE name = 'a'").Scan(&files)
			if want := end == nil; err != nil || missing != nil || (n == 1) != want || (files == 1) != want {
				t.Errorf("ended with %v: %d jobs, %d files, %v", end, n, files, missing)
			}
		}
	})
}

func TestWhatAFailureMeans(t *testing.T) {
	t.Parallel()
	feed := func(retryable bool, wait time.Duration) error {
		return fmt.Errorf("fetching: %w", &ingest.Error{Feed: "usgs", Problem: "says no", Retryable: retryable, Wait: wait})
	}
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		var mu sync.Mutex
		calls := map[string]int{}
		q := open(t, d, options(jobs.Handlers{Fetch: func(_ context.Context, f jobs.Fetch) error {
			mu.Lock()
			defer mu.Unlock()
			calls[f.River]++
			switch f.River {
			case "passes":
				return feed(true, 0)
			case "wait":
				return feed(true, time.Hour)
			case "never":
				return feed(false, 0)
			case "final":
				return jobs.Final{Err: errors.New("no such river")}
			case "busy":
				return jobs.RetryLater{After: time.Hour, Why: "busy"}
			case "panic":
				panic("boo")
			}
			return nil
		}}))
		rivers := []string{"passes", "wait", "never", "final", "busy", "panic", "fine"}
		for _, r := range rivers {
			add(t, q, jobs.Fetch{River: r, Feed: "usgs", Slot: issue})
		}
		stop := run(t, q)
		until(t, "each was tried", func() bool { mu.Lock(); defer mu.Unlock(); return len(calls) == len(rivers) })
		stop()
		want := map[string]string{"passes": "retryable", "wait": "scheduled", "never": "cancelled", "final": "cancelled", "busy": "scheduled", "panic": "retryable", "fine": "completed"}
		list, err := q.List(t.Context(), jobs.Filter{Kinds: []string{"fetch"}})
		if err != nil {
			t.Fatal(err)
		}
		for _, j := range list {
			for r, state := range want {
				if !strings.Contains(j.Keys, `"`+r+`"`) {
					continue
				}
				soon := state == "retryable" && j.State == "available" && j.Attempt == 1 // due within seconds
				if j.State != state && !soon {
					t.Errorf("%s: %s, want %s", r, j.State, state)
				}
				if says := len(j.Errors) > 0 && (strings.Contains(j.Errors[0].Error, "says no") || r == "final" || r == "panic"); (state == "retryable" || state == "cancelled") && !says {
					t.Errorf("%s does not say why: %v", r, j.Errors)
				}
				if r == "wait" && time.Until(j.Due) < 50*time.Minute {
					t.Errorf("the agency asked for an hour and is asked again at %s", j.Due)
				}
			}
		}
	})
}

func TestAFailedJobIsTriedAgainUntilItIsDone(t *testing.T) {
	t.Parallel()
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		var calls atomic.Int64
		q := open(t, d, options(jobs.Handlers{Alerts: func(context.Context, jobs.Alerts) error {
			if calls.Add(1) < 2 {
				return errors.New("the database was away")
			}
			return nil
		}}))
		add(t, q, jobs.Alerts{River: "wend", Cause: issue})
		run(t, q)
		until(t, "it is done", func() bool { return one(t, q, "alerts").State == "completed" })
		if j := one(t, q, "alerts"); len(j.Errors) != 1 || j.Attempt != 2 {
			t.Errorf("%+v", j)
		}
	})
}

// A worker that dies between its commit and the word that the job is done leaves
// a job that runs again: the effect and what follows from it must not double.
func TestAnEffectHappensOnceThoughTheJobRunsTwice(t *testing.T) {
	t.Parallel()
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		var q *jobs.Queue
		var calls, sent atomic.Int64
		q = open(t, d, options(jobs.Handlers{
			Outlook: func(ctx context.Context, o jobs.Outlook) error {
				err := d.Tx(ctx, func(tx *db.Tx) error {
					if err := db.AddOutlook(ctx, tx, db.Outlook{River: o.River, Issued: o.Issue, ModelVersion: "1", Artefact: "x", SHA256: "y"}); err != nil {
						return err
					}
					_, err := q.AddTx(ctx, tx, jobs.Deliver{Slot: o.Issue})
					return err
				})
				if err != nil {
					return err
				}
				if calls.Add(1) == 1 {
					return jobs.RetryLater{After: 0, Why: "as if it had died here"}
				}
				return nil
			},
			Deliver: func(context.Context, jobs.Deliver) error { sent.Add(1); return nil },
		}))
		add(t, q, jobs.Outlook{River: "wend", Issue: issue})
		run(t, q)
		until(t, "all is done", func() bool { n, _ := q.Unfinished(t.Context()); return n == 0 })
		if calls.Load() != 2 || sent.Load() != 1 {
			t.Errorf("%d calls, %d follow-ups", calls.Load(), sent.Load())
		}
	})
}

func TestAJobForLaterWaits(t *testing.T) {
	t.Parallel()
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		ran := make(chan string, 4)
		q := open(t, d, options(jobs.Handlers{Fetch: func(_ context.Context, f jobs.Fetch) error { ran <- f.River; return nil }}))
		later := jobs.At{Args: jobs.Fetch{River: "wend", Feed: "usgs", Slot: issue}, At: time.Now().Add(time.Hour)}
		if a, b := add(t, q, later), add(t, q, later); a != 1 || b != 0 {
			t.Errorf("added %d and %d", a, b)
		}
		// One of the same queue that is due shows that the queue was looked at.
		add(t, q, jobs.Fetch{River: "garrow", Feed: "usgs", Slot: issue})
		stop := run(t, q)
		first := <-ran
		stop()
		if first != "garrow" || len(ran) != 0 {
			t.Errorf("%s ran before its time", first)
		}
		waiting, err := q.List(t.Context(), jobs.Filter{States: []string{"scheduled"}})
		if err != nil || len(waiting) != 1 {
			t.Fatalf("waiting: %v, %v", waiting, err)
		}
		j := waiting[0]
		if j.State != "scheduled" || j.Queue != jobs.Feeds || j.Attempts != 6 {
			t.Errorf("%+v", j)
		}
		if got, err := q.Retry(t.Context(), j.ID); err != nil || got.State != "available" {
			t.Errorf("retry: %+v, %v", got, err)
		}
		if _, err := q.Get(t.Context(), j.ID+99); !errors.Is(err, jobs.ErrNoJob) {
			t.Errorf("a job that is not there: %v", err)
		}
		if _, err := q.List(t.Context(), jobs.Filter{States: []string{"asleep"}}); err == nil {
			t.Error("an unknown state is no fault")
		}
	})
}

func TestAStopLetsJobsEndAndTheNextStartTakesUpTheRest(t *testing.T) {
	t.Parallel()
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		var begun, ended atomic.Int64
		h := jobs.Handlers{Outlook: func(ctx context.Context, o jobs.Outlook) error {
			begun.Add(1)
			wait := 300 * time.Millisecond
			if o.River == "long" && begun.Load() <= 2 {
				wait = time.Minute
			}
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-time.After(wait):
				ended.Add(1)
				return nil
			}
		}}
		o := options(h)
		o.StopAfter = time.Second
		q := open(t, d, o)
		add(t, q, jobs.Outlook{River: "short", Issue: issue}, jobs.Outlook{River: "long", Issue: issue})
		stop := run(t, q)
		until(t, "both have begun", func() bool { return begun.Load() == 2 })
		stop()
		if ended.Load() != 1 {
			t.Errorf("%d of the jobs ended in the stop, want the short one", ended.Load())
		}
		run(t, open(t, d, o))
		until(t, "the other is done", func() bool { n, _ := q.Unfinished(t.Context()); return n == 0 })
		if ended.Load() != 2 {
			t.Errorf("%d ended", ended.Load())
		}
	})
}

func TestOnSQLiteWhatWasCutOffIsTakenUpAtOnce(t *testing.T) {
	t.Parallel()
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	var calls atomic.Int64
	q := open(t, d, options(jobs.Handlers{Outlook: func(context.Context, jobs.Outlook) error { calls.Add(1); return nil }}))
	add(t, q, jobs.Outlook{River: "wend", Issue: issue})
	if _, err := d.SQL.Exec("UPDATE river_job SET state = 'running', attempt = 1, attempted_at = CURRENT_TIMESTAMP"); err != nil {
		t.Fatal(err)
	}
	run(t, q)
	until(t, "it is done", func() bool { return calls.Load() == 1 })
}

func TestEachSlotOfAScheduleIsDoneOnce(t *testing.T) {
	t.Parallel()
	every, err := jobs.ParseSchedule("@every 1s")
	if err != nil {
		t.Fatal(err)
	}
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		var mu sync.Mutex
		slots := map[time.Time]int{}
		count := func() int { mu.Lock(); defer mu.Unlock(); return len(slots) }
		o := options(jobs.Handlers{Tick: func(_ context.Context, k jobs.Tick) error { mu.Lock(); defer mu.Unlock(); slots[k.Slot]++; return nil }})
		o.Periodic = []jobs.Periodic{{Name: "tick", Schedule: every, Make: func(slot time.Time) jobs.Args { return jobs.Tick{Slot: slot} }}}
		stop := run(t, open(t, d, o))
		until(t, "three slots are done", func() bool { return count() >= 3 })
		stop()
		n := count()
		run(t, open(t, d, o)) // another leader
		until(t, "two more are done", func() bool { return count() >= n+2 })
		mu.Lock()
		defer mu.Unlock()
		for slot, n := range slots {
			if n != 1 || slot.Nanosecond() != 0 {
				t.Errorf("slot %s was done %d times", slot, n)
			}
		}
	})
}

func TestWrongClocksOnPostgreSQLAgree(t *testing.T) {
	t.Parallel()
	d := dbtest.Open(t, dbtest.PostgresURL(t))
	var now []time.Time
	for _, off := range []time.Duration{-5 * time.Minute, 0, 5 * time.Minute} {
		o := options(jobs.Handlers{})
		o.Now = func() time.Time { return time.Now().Add(off) }
		q := open(t, d, o)
		if got := q.ClockOff() - off; got.Abs() > 2*time.Second {
			t.Errorf("a clock that is off by %s is taken for off by %s", off, q.ClockOff())
		}
		now = append(now, q.Now())
	}
	for _, n := range now {
		if n.Sub(now[0]).Abs() > 2*time.Second {
			t.Errorf("the clocks say %v", now)
		}
	}
}

func TestALoadOfJobsIsDoneOnceEach(t *testing.T) {
	t.Parallel()
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		const n = 600
		var mu sync.Mutex
		done := map[string]int{}
		q := open(t, d, options(jobs.Handlers{Outlook: func(_ context.Context, o jobs.Outlook) error {
			mu.Lock()
			defer mu.Unlock()
			done[o.River]++
			return nil
		}}))
		var load []jobs.Args
		for i := range n {
			load = append(load, jobs.Outlook{River: fmt.Sprintf("river-%04d", i), Issue: issue})
		}
		if got := add(t, q, load...); got != n {
			t.Fatalf("%d added", got)
		}
		if got := add(t, q, load...); got != 0 {
			t.Fatalf("%d added twice", got)
		}
		run(t, q)
		until(t, "all are done", func() bool { k, _ := q.Unfinished(t.Context(), "outlook"); return k == 0 })
		mu.Lock()
		defer mu.Unlock()
		if len(done) != n {
			t.Errorf("%d of %d done", len(done), n)
		}
		for r, k := range done {
			if k != 1 {
				t.Errorf("%s was done %d times", r, k)
			}
		}
	})
}

func TestASecondProcessOnSQLiteIsRefused(t *testing.T) {
	t.Parallel()
	url := dbtest.SQLiteURL(t)
	dbtest.Open(t, url)
	_, err := db.Open(t.Context(), url)
	if !errors.Is(err, db.ErrInUse) || !strings.Contains(err.Error(), "use PostgreSQL") {
		t.Errorf("%v", err)
	}
}
