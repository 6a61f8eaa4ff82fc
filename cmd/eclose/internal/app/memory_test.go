package app

import (
	"fmt"
	"runtime"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/page/pagetest"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
)

// mostARiver is how many bytes a river of 90 stages and nine years of flow may add to
// what a server holds: a thousand of them leave room within 600 MB. A whole forecast alone
// takes 460 kB.
const mostARiver = 200_000

// What a server holds grows by little with each river that it shows, however often its
// pages were asked for: whole forecasts are bounded in bytes.
func TestARiverAddsLittleToWhatAServerHolds(t *testing.T) {
	ctx := t.Context()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	outlooks, _ := pagetest.Outlooks(t, c)
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	if _, err := db.FeedStates(ctx, d.SQL); err != nil {
		t.Fatal(err)
	}
	store, err := series.Open(ctx, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() }) // a test's folder
	flow := ingest.Series{Key: ingest.Key{Feed: "csv", Site: "all", Variable: ingest.Discharge, Statistic: ingest.Mean, Period: ingest.Daily}}
	for at := pagetest.Noon.AddDate(-9, 0, 0).Truncate(24 * time.Hour); at.Before(pagetest.Noon); at = at.AddDate(0, 0, 1) {
		flow.Time, flow.Value, flow.Flag = append(flow.Time, at.UnixMicro()), append(flow.Value, 5+float64(at.YearDay()%7)), append(flow.Flag, ingest.Pass)
	}
	if _, err := store.Put(ctx, flow, pagetest.Noon); err != nil {
		t.Fatal(err)
	}
	a := archive.New(d, store.Files())
	held := func(n int) uint64 {
		var rivers []forecast.River
		for i := range n {
			r := pagetest.Rivers[i%2]
			r.Slug, r.Gauges = fmt.Sprintf("river-%d", i), []forecast.FeedSite{{Feed: "csv", Site: "all"}}
			o := *outlooks[pagetest.Rivers[i%2].Slug]
			o.River = r.Slug
			if err := a.Save(ctx, &o, pagetest.Noon); err != nil {
				t.Fatal(err)
			}
			rivers = append(rivers, r)
		}
		runtime.GC()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		l := newRefresher(rivers, d, a, store, store, func() time.Time { return pagetest.Noon }, zerolog.Nop())
		l.opened.most = 2 << 20
		l.renew(ctx)
		for _, r := range rivers {
			st, err := l.State(ctx, r.Slug)
			if err != nil || st == nil || st.Outlook == nil || st.Flows == nil {
				t.Fatalf("%s is not on show: %+v %v", r.Slug, st, err)
			}
			if _, err := st.Whole(ctx); err != nil { // somebody looks at it
				t.Fatal(err)
			}
		}
		runtime.GC()
		runtime.GC() // the first empties the pools of others
		runtime.ReadMemStats(&after)
		runtime.KeepAlive(l)
		return after.HeapAlloc - before.HeapAlloc
	}
	few, many := held(10), held(40)
	each := (int64(many) - int64(few)) / 30
	t.Logf("%d bytes a river", each)
	if each > mostARiver || each < 50_000 { // less cannot hold a river
		t.Errorf("a river adds %d bytes, want at most %d", each, mostARiver)
	}
}
