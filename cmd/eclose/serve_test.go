package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/cmd/eclose/internal/health"
	"example.org/eclose/ingest/db/dbtest"
)

// noise is a buffer that a running server may write to.
type noise struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (n *noise) Write(p []byte) (int, error) { n.mu.Lock(); defer n.mu.Unlock(); return n.b.Write(p) }
func (n *noise) String() string              { n.mu.Lock(); defer n.mu.Unlock(); return n.b.String() }

// serve runs eclose serve in this process until stop is called.
func serve(t *testing.T, now func() time.Time, args ...string) (url string, log *noise, stop func() int) {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := ln.Addr().String()
	ln.Close()
	ctx, cancel := context.WithCancel(context.Background())
	log = &noise{}
	ended := make(chan int, 1)
	e := &env{ctx: ctx, stdin: strings.NewReader(""), stdout: io.Discard, stderr: log, now: now, sleep: noPause}
	go func() { ended <- runEnv(e, append([]string{"serve", "--addr", addr}, args...)) }()
	var once sync.Once
	var code int
	stop = func() int {
		once.Do(func() { cancel(); code = <-ended })
		return code
	}
	t.Cleanup(func() { stop() })
	return "http://" + addr, log, stop
}

func get(t *testing.T, url string, header ...string) (int, string) {
	t.Helper()
	req, err := http.NewRequest(http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, err.Error()
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, string(b)
}

func report(t *testing.T, url string) (int, health.Report) {
	t.Helper()
	code, body := get(t, url+"/health")
	var r health.Report
	if code != 0 {
		if err := json.Unmarshal([]byte(body), &r); err != nil {
			t.Fatalf("%d %s", code, body)
		}
	}
	return code, r
}

// from starts a clock at a moment.
func from(at time.Time) func() time.Time {
	began := time.Now()
	return func() time.Time { return at.Add(time.Since(began)) }
}

func TestServeDoesItAllByItself(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, database string }{{"sqlite", "eclose.db"}, {"postgres", ""}} {
		t.Run(c.name, func(t *testing.T) {
			if c.database == "" {
				if testing.Short() {
					t.Skip("once is enough in a short run")
				}
				c.database = dbtest.PostgresURL(t)
			}
			text := strings.Replace(tarnFellsConfig(2), `database = "eclose.db"`, `database = "`+c.database+`"`, 1)
			clock := from(demo.Issue)
			if c.name == "postgres" {
				clock = time.Now // it is the server's in the end, and the demo's weather ends before
				text = regexp.MustCompile(`(?m)^\s*\[river\.weather\]\n.*\n`).ReplaceAllString(text, "")
			}
			dir, path := write(t, text)
			url, log, stop := serve(t, clock, "--config", path)
			issued := func() (n int, r health.Report) {
				_, r = report(t, url)
				for _, x := range r.Rivers {
					if !x.Issued.IsZero() {
						n++
					}
				}
				return n, r
			}
			for end := time.Now().Add(4 * time.Minute); ; time.Sleep(200 * time.Millisecond) {
				if n, r := issued(); n == 3 {
					if c.name == "sqlite" && !r.Healthy { // on PostgreSQL it is another year than in the demo
						t.Errorf("%+v", r)
					}
					break
				}
				if time.Now().After(end) {
					t.Fatalf("no outlook within four minutes\n%s", log)
				}
			}
			if code, body := get(t, url+"/"); code != 200 || !strings.Contains(body, "Wend") {
				t.Errorf("the page: %d %s", code, body)
			}
			code, body := get(t, url+"/metrics")
			for _, want := range []string{`eclose_forecast_age_seconds{river="wend"}`, `eclose_outlook_age_seconds{river="wend"}`, `eclose_clock_offset_seconds`, `eclose_reading_age_seconds{feed="usgs",site="USGS-99000001"}`,
				`eclose_jobs{kind="outlook",state="completed"}`, "eclose_queue_lag_seconds", "eclose_job_seconds_bucket", "eclose_scrape_errors 0"} {
				if code != 200 || !strings.Contains(body, want) {
					t.Errorf("the metrics lack %s (%d)", want, code)
				}
			}
			if code, _ := get(t, url+"/metrics", "X-Forwarded-For", "192.0.2.7"); code != 404 {
				t.Errorf("metrics for a stranger behind a proxy: %d", code)
			}
			if code, out, errs := call(t, demo.Issue, "jobs", "list", "--config", path); code != 0 || !strings.Contains(out, "outlook") {
				t.Errorf("a second process: %d %s%s", code, out, errs)
			}
			if code := stop(); code != 0 {
				t.Fatalf("stopped with %d\n%s", code, log)
			}
			// River's election goes by the machine's clock and is at odds with ours of the demo.
			if ours := regexp.MustCompile(`.*leadership\.Elector.*\n`).ReplaceAllString(log.String(), ""); strings.Contains(ours, `"level":"error"`) {
				t.Errorf("it complains:\n%s", log)
			}
			code, out, errs := call(t, demo.Issue, "jobs", "list", "--config", path, "--kind", "outlook")
			if code != 0 || strings.Count(out, "completed") != 3 {
				t.Errorf("jobs: %d\n%s%s", code, out, errs)
			}
			if files, _ := filepath.Glob(filepath.Join(dir, "series", "outlooks", "*", "*", "*.outlook.gz")); len(files) != 3 {
				t.Errorf("files: %v", files)
			}
		})
	}
}

func TestHealthIsAboutForecastsNotTheProcess(t *testing.T) {
	t.Parallel()
	feeds := httptest.NewServer(demo.NewWorld().Handler())
	base := feeds.URL
	feeds.Close() // the feeds are down
	_, path := write(t, demo.Config(base))
	began := time.Now()
	url, log, _ := serve(t, func() time.Time { return demo.Issue.Add(40000 * time.Since(began)) }, "--config", path)
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		code, r := report(t, url)
		if code == http.StatusServiceUnavailable {
			if !strings.Contains(strings.Join(r.Problems, " "), "stale for 3 of 3 rivers") {
				t.Errorf("%+v", r)
			}
			return
		}
		if time.Now().After(end) {
			t.Fatalf("healthy to the end (%d, %+v)\n%s", code, r, log)
		}
	}
}

// A reader who sends a line and then nothing holds a connection for a few
// seconds only, and one who sends too much is told so.
func TestReadersThatDawdleOrFloodAreCutOff(t *testing.T) {
	if testing.Short() {
		t.Skip("takes as long as the bound")
	}
	t.Parallel()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := app.NewHTTPServer(http.NotFoundHandler())
	go srv.Serve(ln)
	t.Cleanup(func() { srv.Close() })
	for _, x := range []struct{ send, want string }{
		{"GET / HTTP/1.1\r\nHost: a\r\nX-Slow: ", ""},
		{"GET / HTTP/1.1\r\nHost: a\r\nX-Long: " + strings.Repeat("a", 64<<10) + "\r\n\r\n", "HTTP/1.1 431"},
	} {
		c, err := net.Dial("tcp", ln.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		io.WriteString(c, x.send) // what is not taken shows in the answer
		c.SetReadDeadline(time.Now().Add(12 * time.Second))
		got, err := io.ReadAll(c)
		var late net.Error
		if errors.As(err, &late) && late.Timeout() {
			t.Errorf("%.30q: still open after 12 s", x.send)
		}
		if !strings.HasPrefix(string(got), x.want) {
			t.Errorf("%.30q: answered %.60q, want %s", x.send, got, x.want)
		}
	}
}

func TestAWorkerNeedsPostgreSQL(t *testing.T) {
	_, path := write(t, demo.Config("http://127.0.0.1:9"))
	if code, _, errs := call(t, demo.Issue, "worker", "--config", path); code != 2 || !strings.Contains(errs, "needs PostgreSQL") {
		t.Errorf("%d %s", code, errs)
	}
	if code, _, errs := call(t, demo.Issue, "worker", "--config", path, "--queue", "mial"); code != 2 {
		t.Errorf("%d %s", code, errs)
	}
}
