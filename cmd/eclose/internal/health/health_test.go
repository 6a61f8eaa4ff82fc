package health_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/health"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
)

// issued is when the outlook of these tests was issued; its newest reading is an
// hour older.
var issued = time.Now().UTC().Truncate(time.Second).AddDate(0, 0, -30)

func house(t *testing.T, d *db.DB, cutOff time.Time) *health.Watcher {
	t.Helper()
	files, err := series.OpenFiles(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	a := archive.New(d, files)
	o := &forecast.Outlook{River: "wend", RiverName: "Wend", Zone: "UTC", IssuedAt: issued, DataCutoff: cutOff, ModelVersion: forecast.ModelVersion}
	if err := a.Save(t.Context(), o, issued); err != nil {
		t.Fatal(err)
	}
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	return &health.Watcher{DB: d, Queue: q, Archive: a, Rivers: []string{"wend"}, Started: issued, Period: 6 * time.Hour, Interval: 30 * time.Second, Limits: limits}
}

// limits are the defaults of the config.
var limits = health.Limits{FreeBytes: 5e8, CautionAge: 10 * time.Minute, ReadingAge: 48 * time.Hour, FeedFailures: 8, MailWait: 30 * time.Minute, SuppressedShare: 0.2, CertificateLeft: 7 * 24 * time.Hour, ClockOffset: time.Minute}

func fromHere(r *http.Request) *http.Request {
	r.RemoteAddr, r.Host = "127.0.0.1:40000", "localhost:8437"
	return r
}

// Strangers are told whether it is well and of the rivers, not what the checks name; what
// one who left at once has asked for is kept for the next.
func TestStrangersAreToldNoDetailsOfHealth(t *testing.T) {
	w := house(t, dbtest.Open(t, dbtest.SQLiteURL(t)), issued)
	looks := 0
	w.Now = func() time.Time { return issued.Add(time.Hour) }
	w.Folders, w.Free = []string{"/home/ann/eclose"}, func(string) (uint64, error) { looks++; return 1, nil }
	if code, r := ask(t, w); code != 503 || !strings.Contains(fmt.Sprint(r.Problems), "/home/ann") {
		t.Fatalf("%d %+v", code, r)
	}
	for name, change := range map[string]func(*http.Request){
		"from another machine": func(r *http.Request) { r.RemoteAddr = "203.0.113.7:40000" },
		"through a proxy":      func(r *http.Request) { r.Header.Set("X-Real-IP", "203.0.113.7") },
		"under another name":   func(r *http.Request) { r.Host = "rebound.example.org" },
	} {
		q := fromHere(httptest.NewRequest("GET", "/health", nil))
		change(q)
		rec := httptest.NewRecorder()
		w.ServeHTTP(rec, q)
		if rec.Code != 503 || !strings.Contains(rec.Body.String(), `"wend"`) || strings.Contains(rec.Body.String(), "/home/ann") || strings.Contains(rec.Body.String(), "database-write") {
			t.Errorf("%s: %d %s", name, rec.Code, rec.Body)
		}
		rec = httptest.NewRecorder()
		health.NewMetrics(w).Handler().ServeHTTP(rec, q)
		if rec.Code != 404 {
			t.Errorf("metrics %s: %d", name, rec.Code)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	w.Now = func() time.Time { return issued.Add(2 * time.Hour) }
	before := looks
	for range 5 {
		w.ServeHTTP(httptest.NewRecorder(), httptest.NewRequestWithContext(gone, "GET", "/health", nil))
	}
	if looks != before+1 {
		t.Errorf("five who left at once had it look %d times", looks-before)
	}
}

func ask(t *testing.T, w *health.Watcher) (int, health.Report) {
	t.Helper()
	rec := httptest.NewRecorder()
	w.ServeHTTP(rec, fromHere(httptest.NewRequest("GET", "/health", nil)))
	var r health.Report
	if err := json.Unmarshal(rec.Body.Bytes(), &r); err != nil {
		t.Fatal(err)
	}
	return rec.Code, r
}

func TestHealthIsHowFreshTheForecastsAre(t *testing.T) {
	hour := issued.Add(-time.Hour)
	for _, c := range []struct {
		name   string
		cutOff time.Time
		after  time.Duration // since the issue
		river  string
		code   int
		says   string
	}{
		{"fresh", hour, time.Hour, "wend", 200, ""},
		{"one outlook was missed", hour, 12 * time.Hour, "wend", 200, ""},
		{"two were", hour, 14 * time.Hour, "wend", 503, "stale for 1 of 1 rivers"},
		{"issued of readings of the week before", issued.AddDate(0, 0, -7), time.Hour, "wend", 503, "stale for 1 of 1 rivers"},
		{"issued of none", time.Time{}, time.Hour, "wend", 503, "stale for 1 of 1 rivers"},
		{"begun just now", hour, time.Hour, "garrow", 200, ""},
		{"never issued", hour, 14 * time.Hour, "garrow", 503, "stale for 1 of 1 rivers"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dbtest.Each(t, func(t *testing.T, d *db.DB) {
				w := house(t, d, c.cutOff)
				w.Rivers, w.Now = []string{c.river}, func() time.Time { return issued.Add(c.after) }
				code, r := ask(t, w)
				if code != c.code || r.Healthy != (c.code == 200) || !strings.Contains(strings.Join(r.Problems, " "), c.says) || (c.code == 503) != (r.Rivers[0].Stale != "") {
					t.Errorf("%d %+v", code, r)
				}
			})
		})
	}
}

// The age of the oldest caution stands in the report; over the limit it is a problem.
func TestTheAgeOfTheOldestCautionIsInTheReport(t *testing.T) {
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	for _, c := range []struct {
		wend, garrow time.Duration // since they were judged
		age          float64
		code         int
	}{{time.Minute, 9 * time.Minute, 540, 200}, {11 * time.Minute, time.Minute, 660, 503}, {time.Second, time.Second, 1, 200}} {
		w := house(t, d, issued)
		w.Rivers = []string{"wend"}
		now := issued.Add(time.Hour)
		w.Now = func() time.Time { return now }
		w.Cautions = func() map[string]time.Time {
			return map[string]time.Time{"wend": now.Add(-c.wend), "garrow": now.Add(-c.garrow)}
		}
		code, r := ask(t, w)
		if code != c.code || r.CautionAge == nil || *r.CautionAge != c.age {
			t.Errorf("%+v: %d, %v", c, code, r.CautionAge)
		}
		if told := strings.Contains(strings.Join(r.Problems, " "), "the caution of wend was not judged for 11m0s"); told != (code == 503) {
			t.Errorf("%+v: %q", c, r.Problems)
		}
	}
	w := house(t, d, issued)
	w.Now = func() time.Time { return issued.Add(time.Hour) }
	if _, r := ask(t, w); r.CautionAge != nil {
		t.Errorf("nobody judges, and the oldest is %v old", *r.CautionAge)
	}
}

// Each limit of mail and disk, a little before and a little beyond it.
func TestMailAndDiskGoWrongAtTheirLimits(t *testing.T) {
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	now := issued.Add(time.Hour)
	good := health.MailState{CertificateEnds: now.Add(8 * 24 * time.Hour), OldestDue: now.Add(-29 * time.Minute), SuppressedShare: 0.19}
	for _, c := range []struct {
		name   string
		change func(*health.MailState)
		free   uint64
		says   string // empty: healthy
	}{
		{"as it should be", func(*health.MailState) {}, 5e8, ""},
		{"certificate", func(m *health.MailState) { m.CertificateEnds = now.Add(7*24*time.Hour - time.Second) }, 5e8, "the relay's certificate ends"},
		{"certificate not known", func(m *health.MailState) { m.CertificateEnds = time.Time{} }, 5e8, ""},
		{"waiting", func(m *health.MailState) { m.OldestDue = now.Add(-31 * time.Minute) }, 5e8, "email has been waiting for 31m"},
		{"suppressed", func(m *health.MailState) { m.SuppressedShare = 0.21 }, 5e8, "21% of the subscribers"},
		{"paused", func(m *health.MailState) { m.Paused = "the relay refused too many" }, 5e8, "refused too many"},
		{"relay", func(m *health.MailState) { m.Relay = errors.New("no STARTTLS") }, 5e8, "no STARTTLS"},
		{"disk", func(*health.MailState) {}, 5e8 - 1, "MB free"},
	} {
		m := good
		c.change(&m)
		w := house(t, d, issued)
		w.Now = func() time.Time { return now }
		w.Mail = func(context.Context) (health.MailState, error) { return m, nil }
		w.Folders, w.Free = []string{"data"}, func(string) (uint64, error) { return c.free, nil }
		code, r := ask(t, w)
		if all := strings.Join(r.Problems, " "); (code == 200) != (c.says == "") || !strings.Contains(all, c.says) {
			t.Errorf("%s: %d %q", c.name, code, all)
		}
		for _, x := range r.Checks {
			if x.Name == "mail-breaker" && (x.Value == 1) != (m.Paused != "") {
				t.Errorf("%s: the breaker's metric is %g", c.name, x.Value)
			}
		}
	}
}

func TestWhatWasGivenUpAndWhatCannotBeReadIsNotHealthy(t *testing.T) {
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	w := house(t, d, issued)
	now := issued.Add(time.Hour)
	w.Now = func() time.Time { return now }
	if _, err := w.Queue.Add(t.Context(), jobs.Export{River: "wend", Month: issued}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.SQL.Exec("UPDATE river_job SET state = 'discarded', finalized_at = CURRENT_TIMESTAMP"); err != nil { //nolint:misspell // River's own word
		t.Fatal(err)
	}
	if code, r := ask(t, w); code != 503 || !strings.Contains(strings.Join(r.Problems, " "), "1 export jobs were discarded") {
		t.Errorf("%d %+v", code, r)
	}
	now = now.Add(time.Minute) // a report is kept for a quarter of a minute
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if r := w.Look(ctx); r.Healthy || !strings.Contains(strings.Join(r.Problems, " "), "cannot be read") {
		t.Errorf("%+v", r)
	}
}

// What the reference lists is what there is.
func TestTheReferenceListsTheMetrics(t *testing.T) {
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	w := house(t, d, issued)
	w.Now = func() time.Time { return issued.Add(time.Hour) }
	w.Mails = func(context.Context) (map[string]int, error) { return map[string]int{"sent": 1}, nil }
	if err := db.PutFeedState(t.Context(), d.SQL, db.FeedState{Feed: "usgs", Item: "USGS-99000001", Newest: issued, Tried: issued}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Queue.Add(t.Context(), jobs.Export{River: "wend", Month: issued}); err != nil {
		t.Fatal(err)
	}
	m := health.NewMetrics(w)
	m.Forgot("tokens", 1)
	m.Forgot("a \"quoted\\\nname", 2)
	m.SignUpRefused("network")
	m.Done(jobs.Attempt{Kind: "outlook", Took: time.Second, Err: context.Canceled})
	rec := httptest.NewRecorder()
	req := httptest.NewRequest("GET", "/metrics", nil)
	fromHere(req)
	m.Handler().ServeHTTP(rec, req)
	problems, err := promlint.New(bytes.NewReader(rec.Body.Bytes())).Lint()
	if err != nil {
		t.Fatalf("Prometheus cannot read it: %v\n%s", err, rec.Body)
	}
	for _, p := range problems {
		if strings.HasPrefix(p.Metric, "eclose_") { // the library of the others has names and no help of its own
			t.Errorf("names of metrics: %+v", p)
		}
	}
	for _, line := range []string{
		"# HELP eclose_jobs Jobs by kind and state.\n# TYPE eclose_jobs gauge\neclose_jobs{", "# HELP eclose_job_seconds Duration of job attempts.\n# TYPE eclose_job_seconds histogram\n",
		`eclose_job_seconds_bucket{kind="outlook",le="0.5"} 0` + "\n", `eclose_job_seconds_bucket{kind="outlook",le="2"} 1` + "\n", `eclose_job_seconds_bucket{kind="outlook",le="+Inf"} 1` + "\n",
		`eclose_job_seconds_sum{kind="outlook"} 1` + "\n", `eclose_job_failures_total{kind="outlook"} 1` + "\n", "eclose_sign_in_failures_total 0\n", `eclose_forgotten_total{what="a \"quoted\\\nname"} 2` + "\n",
		"# TYPE go_goroutines gauge\n", "\ngo_build_info{path=", "\nprocess_cpu_seconds_total ",
	} {
		if !strings.Contains(rec.Body.String(), line) {
			t.Errorf("the metrics lack %q", line)
		}
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "reference", "operation.md"))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, line := range regexp.MustCompile(`(?m)^# TYPE (eclose_\w+)`).FindAllStringSubmatch(rec.Body.String(), -1) {
		n++
		if !strings.Contains(string(text), "`"+line[1]+"`") {
			t.Errorf("the reference does not list %s", line[1])
		}
	}
	for _, name := range regexp.MustCompile("`(eclose_\\w+)`").FindAllStringSubmatch(string(text), -1) {
		if !strings.Contains(rec.Body.String(), "# TYPE "+name[1]+" ") {
			t.Errorf("the reference lists %s, which there is not", name[1])
		}
	}
	if n < 12 {
		t.Errorf("%d metrics:\n%s", n, rec.Body)
	}
}
