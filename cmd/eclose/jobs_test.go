package main

import (
	"context"
	"io"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series/seriestest"
)

// startWorker runs eclose worker in this process until stop is called.
func startWorker(t *testing.T, args ...string) (log *noise, stop func() int) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	log = &noise{}
	ended := make(chan int, 1)
	e := &env{ctx: ctx, stdin: strings.NewReader(""), stdout: io.Discard, stderr: log, now: time.Now, sleep: noPause}
	go func() { ended <- runEnv(e, append([]string{"worker"}, args...)) }()
	stop = func() int { cancel(); return <-ended }
	return log, stop
}

// Two workers on PostgreSQL, with series, outlooks and exports on object storage,
// do what one process does on one machine.
func TestWorkersShareADatabaseAndAnObjectStore(t *testing.T) {
	t.Parallel()
	store, database := seriestest.S3(t), dbtest.PostgresURL(t)
	feeds := httptest.NewServer(demo.NewWorld().Handler())
	defer feeds.Close()
	text := strings.Replace(demo.Config(feeds.URL), "backfill-years = 9", "backfill-years = 4", 1)
	here, alone := write(t, text)
	text = strings.Replace(text, `database = "eclose.db"`, `database = "`+database+`"`, 1)
	text = regexp.MustCompile(`(?m)^store = .*$`).ReplaceAllString(text, `store = "`+store+`"`)
	if !strings.Contains(text, store) {
		text = `store = "` + store + "\"\n" + text
	}
	_, path := write(t, text)
	ok := func(args ...string) string {
		t.Helper()
		code, out, errs := call(t, demo.Issue, args...)
		if code != 0 {
			t.Fatalf("%v: %d %s%s", args, code, out, errs)
		}
		return out
	}
	for _, p := range []string{alone, path} {
		ok("ingest", "--config", p)
	}
	issue := demo.Issue.Format(time.RFC3339)
	ok("jobs", "add", "forecasts", "--config", path, "--issue", issue)
	ok("jobs", "add", "backtest", "--config", path, "--run", "first", "--seasons", "2025..2025", "--leads", "0,14", "--every", "30", "--members", "10")
	if out := ok("jobs", "list", "--config", path, "--state", "available"); strings.Count(out, "outlook") != 3 || strings.Count(out, "backtest-season") != 3 {
		t.Fatalf("waiting:\n%s", out)
	}
	var stops []func() int
	var logs []*noise
	for range 2 {
		log, stop := startWorker(t, "--config", path, "--queue", "model", "--queue", "backtest", "--jobs", "model=1")
		logs, stops = append(logs, log), append(stops, stop)
	}
	done := func(kind string, n int) {
		t.Helper()
		for end := time.Now().Add(90 * time.Second); ; time.Sleep(200 * time.Millisecond) {
			if out := ok("jobs", "list", "--config", path, "--kind", kind, "--state", "completed"); strings.Count(out, "completed") >= n { // the schedule may add some
				return
			}
			if time.Now().After(end) {
				t.Fatalf("%d jobs of kind %s were not done\n%s\n%s%s", n, kind, ok("jobs", "list", "--config", path), logs[0], logs[1])
			}
		}
	}
	done("outlook", 3)
	ok("jobs", "add", "exports", "--config", path, "--month", "2026-05")
	done("export", 3)
	done("backtest-season", 3)

	// A river whose month had no outlook is given up, says why, and can be tried again.
	ok("jobs", "add", "exports", "--config", path, "--month", "2025-01", "--river", "wend")
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		out := ok("jobs", "list", "--config", path, "--state", "cancelled")
		if id := regexp.MustCompile(`(?m)^(\d+) +export`).FindStringSubmatch(out); id != nil {
			if show := ok("jobs", "show", "--config", path, id[1]); !strings.Contains(show, "no forecast for wend was issued in January 2025") {
				t.Errorf("jobs show:\n%s", show)
			}
			if again := ok("jobs", "retry", "--config", path, "--all", "--kind", "export"); !strings.Contains(again, "1 jobs") {
				t.Errorf("jobs retry:\n%s", again)
			}
			break
		}
		if time.Now().After(end) {
			t.Fatalf("nothing was given up:\n%s", ok("jobs", "list", "--config", path))
		}
	}
	for i, stop := range stops {
		if code := stop(); code != 0 {
			t.Errorf("a worker stopped with %d\n%s", code, logs[i])
		}
	}

	// The same, alone and in a folder.
	args := []string{"--seasons", "2025..2025", "--leads", "0,14", "--every", "30", "--members", "10"}
	a, b := filepath.Join(here, "a"), filepath.Join(here, "b")
	ok(append([]string{"backtest", "--config", alone, "--out", a}, args...)...)
	ok("backtest", "--config", path, "--run", "first", "--out", b)
	for _, f := range []string{"scores.csv", "dates.csv"} {
		x, err := os.ReadFile(filepath.Join(a, f))
		if err != nil {
			t.Fatal(err)
		}
		y, err := os.ReadFile(filepath.Join(b, f))
		if err != nil {
			t.Fatal(err)
		}
		if len(x) < 200 || string(x) != string(y) {
			t.Errorf("%s of workers on S3 differs from that of one process in a folder", f)
		}
	}
	one, two := ok("forecast", "--config", alone, "--format", "csv"), ok("forecast", "--config", path, "--format", "csv")
	if len(one) < 1000 || one != two {
		t.Error("the outlook from object storage differs from that from a folder")
	}
}

func TestASharedBacktestIsNamedAndKeepsItsPlan(t *testing.T) {
	t.Parallel()
	feeds := httptest.NewServer(demo.NewWorld().Handler())
	feeds.Close()
	_, path := write(t, demo.Config(feeds.URL))
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--seasons", "2024..2025"}, 2, "--run "},
		{[]string{"--run", "../x", "--seasons", "2024..2025"}, 2, "--run "},
		{[]string{"--run", "x", "--seasons", "2025..2024"}, 2, "--seasons"},
		{[]string{"--run", "x", "--seasons", "2024..2025"}, 0, "6 jobs added"},
		{[]string{"--run", "x", "--seasons", "2024..2025"}, 0, "0 jobs added, 6 already queued"},
		{[]string{"--run", "x", "--seasons", "2023..2025"}, 2, "different settings"},
	} {
		code, out, errs := call(t, demo.Issue, append([]string{"jobs", "add", "backtest", "--config", path}, c.args...)...)
		if code != c.code || !strings.Contains(out+errs, c.want) {
			t.Errorf("%v: %d %s%s", c.args, code, out, errs)
		}
	}
	if code, _, errs := call(t, demo.Issue, "backtest", "--config", path, "--run", "y", "--out", t.TempDir()); code != 2 || !strings.Contains(errs, "start one with") {
		t.Errorf("a run that was never begun: %d %s", code, errs)
	}
}
