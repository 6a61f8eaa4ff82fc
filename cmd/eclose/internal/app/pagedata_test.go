package app

import (
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
)

// A caution is judged anew as soon as a fetch has brought a reading, and every
// minute without one: far within the quarter of an hour that is promised.
func TestACautionIsJudgedAnewAfterAFetchAndEachMinute(t *testing.T) {
	ctx := t.Context()
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	if _, err := db.FeedStates(ctx, d.SQL); err != nil {
		t.Fatal(err)
	}
	store, err := series.Open(ctx, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() }) // a test's folder
	a := archive.New(d, store.Files())
	now := time.Date(2026, 5, 20, 12, 0, 0, 0, time.UTC)
	o := &forecast.Outlook{River: "wend", RiverName: "Wend", Zone: "UTC", IssuedAt: now.Add(-time.Hour), ModelVersion: forecast.ModelVersion}
	if err := a.Save(ctx, o, now.Add(-time.Hour)); err != nil {
		t.Fatal(err)
	}
	river := forecast.River{Slug: "wend", Name: "Wend", Zone: "UTC", Lat: 45, Gauges: []forecast.FeedSite{{Feed: "csv", Site: "wend"}}}
	l := newRefresher([]forecast.River{river}, d, a, store, store, func() time.Time { return now }, zerolog.Nop())
	flow := func(minutesAgo time.Duration, q float64) {
		t.Helper()
		s := ingest.Series{Key: ingest.Key{Feed: "csv", Site: "wend", Variable: ingest.Discharge, Statistic: ingest.Instant}, Time: []int64{now.Add(-minutesAgo).UnixMicro()}, Value: []float64{q}}
		if _, err := store.Put(ctx, s, now); err != nil {
			t.Fatal(err)
		}
	}
	shown := func() (flow float64, at time.Time) {
		t.Helper()
		l.renew(ctx)
		st, err := l.State(ctx, "wend")
		if err != nil || st == nil {
			t.Fatalf("%+v %v", st, err)
		}
		if judged := l.cautions()["wend"]; !judged.Equal(st.CautionAt) {
			t.Errorf("shown of %s, told of %s", st.CautionAt, judged)
		}
		return st.Caution.Flow.Value, st.CautionAt
	}
	flow(time.Minute, 5)
	if q, at := shown(); q != 5 || !at.Equal(now) {
		t.Errorf("at first: %g of %s", q, at)
	}
	now = now.Add(10 * time.Second)
	flow(time.Second, 6)
	if q, _ := shown(); q != 5 {
		t.Errorf("judged anew without a reason: %g", q)
	}
	l.done(jobs.Attempt{Kind: jobs.Fetch{}.Kind()})
	if q, at := shown(); q != 6 || !at.Equal(now) {
		t.Errorf("after a fetch: %g of %s", q, at)
	}
	now = now.Add(30 * time.Second)
	flow(time.Second, 7)
	l.done(jobs.Attempt{Kind: jobs.Warnings{}.Kind()})
	if q, _ := shown(); q != 7 {
		t.Errorf("after warnings: %g", q)
	}
	now = now.Add(judgeEvery)
	if q, at := shown(); q != 7 || !at.Equal(now) {
		t.Errorf("a minute later: %g of %s", q, at)
	}
}
