package work_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast"
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
			Gauges: []forecast.Station{{Feed: "usgs", Site: "USGS-" + r.Site}}, Weather: &forecast.Station{Feed: "open-meteo", Site: fmt.Sprintf("%g,%g", r.Lat, r.Lon)},
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
	places, err := sources.Builder{Config: cfg, Client: c, Now: now}.Places()
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
	long := os.Getenv("ECLOSE_LONG") == "1"
	n, years := 6, 2
	if long {
		n, years = 240, 8
	}
	dir := ingested(t, years)
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	run := func(workers int) (took time.Duration, sums []string) {
		url := dbtest.PostgresURL(t)
		d := dbtest.Open(t, url)
		q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
		if err != nil {
			t.Fatal(err)
		}
		c := &children{t: t, exe: exe, skew: []time.Duration{0},
			hand: hand{Database: url, Dir: dir, Rivers: n, Real: true, Timeout: 3 * time.Minute, Model: 2}}
		defer c.killAll()
		// One warm-up outlook each, so that the start of a process is not counted.
		for i := range workers {
			c.start(i)
		}
		if _, err := q.Add(t.Context(), jobs.Outlook{River: national(1)[0].Slug, Issue: demo.Issue.Add(-time.Hour)}); err != nil {
			t.Fatal(err)
		}
		drain(t, q)
		var all []jobs.Args
		for _, r := range national(n) {
			all = append(all, jobs.Outlook{River: r.Slug, Issue: demo.Issue})
		}
		began := time.Now()
		if _, err := q.Add(t.Context(), all...); err != nil {
			t.Fatal(err)
		}
		drain(t, q)
		return time.Since(began), outlooksIn(t, d)
	}
	one, a := run(1)
	two, b := run(2)
	if len(a) != n+1 || !slices.Equal(a, b) {
		t.Errorf("one worker gave %d outlooks, two gave %d, and they differ", len(a), len(b))
	}
	sum := sha256.Sum256([]byte(strings.Join(a, "\n")))
	files, _ := filepath.Glob(filepath.Join(dir, "outlooks", "*", "*", "*.zst"))
	t.Logf("%d outlooks (%d files, digest %s): one worker %s, %.1f ms each; two workers %s; %.2f times the throughput",
		n, len(files), hex.EncodeToString(sum[:6]), one.Round(time.Millisecond), one.Seconds()*1000/float64(n), two.Round(time.Millisecond), one.Seconds()/two.Seconds())
}

func drain(t *testing.T, q *jobs.Queue) {
	t.Helper()
	for end := time.Now().Add(10 * time.Minute); ; time.Sleep(20 * time.Millisecond) {
		n, err := q.Unfinished(t.Context(), "outlook")
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d outlooks are not done", n)
		}
	}
}
