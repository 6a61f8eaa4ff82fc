package work_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	backtest "example.org/eclose/forecast/backtest/rivers"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
)

// national is n rivers that share the gauges of the three invented ones.
func national(n int) (out []forecast.River) {
	for i := range n {
		r := demo.Rivers[i%len(demo.Rivers)]
		out = append(out, forecast.River{
			Slug: fmt.Sprintf("%s-%03d", r.Slug, i), Name: r.Name, Region: string(insects.Rockies), Zone: demo.Zone, Lat: r.Lat, Lon: r.Lon,
			Gauges: []forecast.FeedSite{{Feed: "usgs", Site: "USGS-" + r.Site}}, Weather: &forecast.FeedSite{Feed: "open-meteo", Site: fmt.Sprintf("%g,%g", r.Lat, r.Lon)},
		})
	}
	return out
}

// ingested fills a store with the demo's gauges and weather.
func ingested(t *testing.T, years int) (dir string) {
	t.Helper()
	feeds := httptest.NewServer(demo.NewWorld().Handler())
	defer feeds.Close()
	cfg, err := config.Parse([]byte(demo.Config(feeds.URL)), "eclose.toml")
	if err != nil {
		t.Fatal(err)
	}
	now := func() time.Time { return demo.Issue }
	c, err := client.New(client.Options{UserAgent: "test", PerHost: map[string]float64{strings.TrimPrefix(feeds.URL, "http://"): 1000}, MaxBody: 256 << 20, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	places, err := sources.Builder{Config: cfg, Client: c, Now: now}.Tasks()
	if err != nil {
		t.Fatal(err)
	}
	dir = t.TempDir()
	store, err := series.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	in := schedule.Intake{Store: store, Now: now, Backfill: time.Duration(years) * 8766 * time.Hour}
	if _, err := in.Run(t.Context(), places); err != nil {
		t.Fatal(err)
	}
	return dir
}

// opened is what a process needs to compute from a folder that was ingested.
func opened(t *testing.T, dir string) (*insects.Catalogue, *series.Store, *series.Files) {
	t.Helper()
	catalogue, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	store, err := series.Open(t.Context(), dir, series.ReadOnly())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() })
	files, err := series.OpenFiles(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	return catalogue, store, files
}

// outlooksIn is the SHA-256 of each outlook's content by river and issue.
func outlooksIn(t *testing.T, d *db.DB) []string {
	t.Helper()
	rows, err := d.SQL.Query("SELECT river, issued_at, sha256 FROM outlook")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var river, sum string
		var at int64
		if err := rows.Scan(&river, &at, &sum); err != nil {
			t.Fatal(err)
		}
		out = append(out, fmt.Sprintf("%s %d %s", river, at, sum))
	}
	slices.Sort(out)
	return out
}

// A run over many rivers, split among worker processes, gives what one process
// gives, byte for byte; and two workers on two processors do nearly the work of
// two.
func TestANationalRunSplitsOverWorkers(t *testing.T) {
	long := besideOthers(t)
	n, years := 6, 2
	if long {
		n, years = 240, 8
	}
	if x, err := strconv.Atoi(os.Getenv("ECLOSE_GAUGES")); err == nil {
		n = x
	}
	dir := ingested(t, years)
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	run := func(workers, procs int) (took time.Duration, sums []string) {
		url := dbtest.PostgresURL(t)
		d := dbtest.Open(t, url)
		q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
		if err != nil {
			t.Fatal(err)
		}
		c := &children{t: t, exe: exe, skew: []time.Duration{0},
			hand: hand{Database: url, Dir: dir, Rivers: n, Real: true, Timeout: 3 * time.Minute, Model: 2}, procs: procs}
		defer c.killAll()
		// Outlooks to warm up with, so that the start of a process is not counted.
		for i := range workers {
			c.start(i)
		}
		var warm []jobs.Args
		for i := range warmUps {
			warm = append(warm, jobs.Outlook{River: national(1)[0].Slug, Issue: demo.Issue.Add(-time.Duration(i+1) * time.Hour)})
		}
		if _, err := q.Add(t.Context(), warm...); err != nil {
			t.Fatal(err)
		}
		drain(t, q, "outlook")
		var all []jobs.Args
		for _, r := range national(n) {
			all = append(all, jobs.Outlook{River: r.Slug, Issue: demo.Issue})
		}
		cpu, all0 := c.processor(), busy()
		began := time.Now()
		if _, err := q.Add(t.Context(), all...); err != nil {
			t.Fatal(err)
		}
		drain(t, q, "outlook")
		took = time.Since(began)
		t.Logf("%d workers of %s: %s, %.1f ms an outlook; %.1f ms of processor an outlook in the workers, %.1f ms everywhere",
			workers, processors(procs), took.Round(time.Millisecond), ms(took, n), ms(c.processor()-cpu, n), ms(busy()-all0, n))
		return took, outlooksIn(t, d)
	}
	var before, after float64
	if long {
		before = twice()
	}
	one, a := run(1, 1)
	two, b := run(2, 1)
	if len(a) != n+warmUps || !slices.Equal(a, b) {
		t.Errorf("one worker gave %d outlooks, two gave %d, and they differ", len(a), len(b))
	}
	sum := sha256.Sum256([]byte(strings.Join(a, "\n")))
	files, _ := filepath.Glob(filepath.Join(dir, "outlooks", "*", "*", "*.zst"))
	if long {
		after = twice()
	}
	t.Logf("%d outlooks (%d files, digest %s): two workers of a processor each have %.2f times the throughput of one; plain arithmetic has %.2f times (before) and %.2f times (after) on two processors what it has on one",
		n, len(files), hex.EncodeToString(sum[:6]), one.Seconds()/two.Seconds(), before, after)
	if long {
		_, c := run(1, 0)
		if !slices.Equal(a, c) {
			t.Error("a worker of all processors gives other outlooks")
		}
	}
}

// warmUps are the outlooks that a worker begins with.
const warmUps = 8

func ms(d time.Duration, n int) float64 { return d.Seconds() * 1000 / float64(n) }

func processors(n int) string {
	if n == 0 {
		return "all processors"
	}
	return fmt.Sprintf("%d processor each", n)
}

// twice is how much more arithmetic two processors of this machine do than one:
// what two of anything may come to at best.
func twice() float64 {
	work := func() {
		x := 1.0
		for range 400_000_000 {
			x = x*1.0000001 + 1e-9
		}
		if x == 0 {
			panic("never")
		}
	}
	began := time.Now()
	work()
	one := time.Since(began)
	began = time.Now()
	var both sync.WaitGroup
	both.Go(work)
	both.Go(work)
	both.Wait()
	return 2 * one.Seconds() / time.Since(began).Seconds()
}

// busy is how long the machine's processors were at work since it was started, by
// all processes; 0 where the system does not say.
func busy() time.Duration {
	text, err := os.ReadFile("/proc/stat")
	if err != nil {
		return 0
	}
	var user, nice, system int64
	if _, err := fmt.Sscanf(string(text), "cpu %d %d %d", &user, &nice, &system); err != nil {
		return 0
	}
	return time.Duration(user+nice+system) * tick
}

// tick is the unit of /proc.
const tick = time.Second / 100

func drain(t *testing.T, q *jobs.Queue, kind string) {
	t.Helper()
	for end := time.Now().Add(10 * time.Minute); ; time.Sleep(20 * time.Millisecond) {
		n, err := q.Unfinished(t.Context(), kind)
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d jobs of kind %s are not done", n, kind)
		}
	}
}

// A backtest split among workers, one of which is killed and another begun, leaves
// the files that a run in one process leaves, byte for byte; and so does the
// queue on SQLite.
func TestABacktestSplitsOverWorkers(t *testing.T) {
	besideOthers(t)
	dir := ingested(t, 4)
	b := work.Backtest{First: 2024, Last: 2025, Leads: []int{0, 14}, Every: 30, Members: 10, Now: demo.Issue}
	want := t.TempDir()
	catalogue, store, files := opened(t, dir)
	plan := b.Plan()
	plan.Rivers, plan.Catalogue, plan.Dir, plan.Workers = national(3), catalogue, want, 2
	if _, err := backtest.Run(t.Context(), plan, backtest.Stored{Store: store, Now: demo.Issue}); err != nil {
		t.Fatal(err)
	}
	add := func(run string) (all []jobs.Args) {
		if err := work.WriteBacktest(t.Context(), files, run, b); err != nil {
			t.Fatal(err)
		}
		for _, r := range national(3) {
			for season := b.First; season <= b.Last; season++ {
				all = append(all, jobs.BacktestSeason{Run: run, River: r.Slug, Season: season})
			}
		}
		return all
	}
	t.Run("sqlite", func(t *testing.T) {
		d := dbtest.Open(t, dbtest.SQLiteURL(t))
		h := &work.Service{DB: d, Rivers: national(3), Catalogue: catalogue, Read: &work.Reader{Store: store, Now: time.Now}, Files: files, Archive: archive.New(d, files), Log: zerolog.Nop()}
		q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop(), Handlers: h.Handlers(), Workers: map[string]int{jobs.Backtest: 2}})
		if err != nil {
			t.Fatal(err)
		}
		h.Queue = q
		if err := q.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		defer q.Stop(context.Background())
		if _, err := q.Add(t.Context(), add("one")...); err != nil {
			t.Fatal(err)
		}
		drain(t, q, "backtest-season")
		sameFiles(t, want, filepath.Join(dir, "backtests", "one", "slices"))
	})
	t.Run("postgres", func(t *testing.T) {
		exe, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		url := dbtest.PostgresURL(t)
		d := dbtest.Open(t, url)
		q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := q.Add(t.Context(), add("two")...); err != nil {
			t.Fatal(err)
		}
		c := &children{t: t, exe: exe, procs: 1, skew: []time.Duration{0}, hand: hand{Database: url, Dir: dir, Rivers: 3, Real: true, Timeout: time.Minute, Model: 1}}
		defer c.killAll()
		c.start(0)
		slices := filepath.Join(dir, "backtests", "two", "slices", "*.json")
		for end := time.Now().Add(time.Minute); ; time.Sleep(time.Millisecond) {
			if done, _ := filepath.Glob(slices); len(done) > 0 || time.Now().After(end) {
				break
			}
		}
		c.kill(0)                                                                                                 // in the middle of the next one
		if _, err := d.SQL.Exec("UPDATE river_job SET state = 'available' WHERE state = 'running'"); err != nil { // as the rescuer does
			t.Fatal(err)
		}
		c.start(0)
		c.start(1)
		drain(t, q, "backtest-season")
		sameFiles(t, want, filepath.Join(dir, "backtests", "two", "slices"))
	})
}

// sameFiles compares two folders by names and bytes.
func sameFiles(t *testing.T, a, b string) {
	t.Helper()
	read := func(dir string) map[string]string {
		files, err := filepath.Glob(filepath.Join(dir, "*"))
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]string{}
		for _, f := range files {
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			sum := sha256.Sum256(text)
			out[filepath.Base(f)] = hex.EncodeToString(sum[:])
		}
		return out
	}
	x, y := read(a), read(b)
	if len(x) != 6 || !maps.Equal(x, y) {
		t.Errorf("one process leaves %v, workers %v", x, y)
	}
}
