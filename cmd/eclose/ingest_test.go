package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// noPause lets retries follow at once.
func noPause(ctx context.Context, _ time.Duration) error { return ctx.Err() }

// call runs the program in this process.
func call(t *testing.T, now time.Time, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	e := &env{ctx: t.Context(), stdin: strings.NewReader(""), stdout: &out, stderr: &errs, now: func() time.Time { return now }, sleep: noPause}
	code = runEnv(e, args)
	return code, out.String(), errs.String()
}

func open(t *testing.T, dir string) *series.Store {
	t.Helper()
	s, err := series.Open(t.Context(), filepath.Join(dir, "series"), series.ReadOnly())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func digest(t *testing.T, dir string) string {
	t.Helper()
	d, err := open(t, dir).Digest(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// write puts a config into a new folder and returns both.
func write(t *testing.T, text string) (dir, path string) {
	t.Helper()
	dir = t.TempDir()
	path = filepath.Join(dir, "eclose.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir, path
}

func TestTheSameAnswersTwiceChangeNothing(t *testing.T) {
	t.Parallel()
	dir, path := ingested(t) // the first time
	before := digest(t, dir)
	code, out, errs := call(t, demo.Issue, "ingest", "--config", path)
	if code != 0 {
		t.Fatalf("second ingest: %s", errs)
	}
	if after := digest(t, dir); after != before {
		t.Errorf("the store changed:\n%s", out)
	}
	if strings.Contains(out, "failed") || !strings.Contains(out, "0 new, 0 revised") {
		t.Errorf("the second pass does not say that nothing is new:\n%s", out)
	}
}

// gaugeAnswer is a page of hourly water temperature in the shape of the USGS
// Water Data API, version 1.
func gaugeAnswer(values ...string) string {
	var rows []string
	for i, v := range values {
		at := time.Date(2026, 5, 1, i, 0, 0, 0, time.UTC).Format("2006-01-02T15:04:05+00:00")
		rows = append(rows, fmt.Sprintf(`{"type":"Feature","properties":{"time_series_id":"%032d","monitoring_location_id":"USGS-99000009","parameter_code":"00010","statistic_id":"00011","time":%q,"value":%s,"unit_of_measure":"degC","approval_status":"Provisional","qualifier":null},"id":"a%d","geometry":null}`,
			7, at, v, i))
	}
	return `{"type":"FeatureCollection","features":[` + strings.Join(rows, ",") + `],"links":[]}`
}

// scripted serves one body for continuous readings and nothing for the rest.
func scripted(t *testing.T, answer http.HandlerFunc) string {
	t.Helper()
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.Contains(r.URL.Path, "/collections/continuous/") {
			answer(w, r)
			return
		}
		w.Header().Set("Content-Type", "application/geo+json")
		feature := ""
		if strings.Contains(r.URL.Path, "/monitoring-locations/") {
			feature = `{"type":"Feature","id":"USGS-99000009","properties":{"agency_code":"USGS","monitoring_location_number":"99000009","monitoring_location_name":"BECK (invented)","time_zone_abbreviation":"PST","uses_daylight_savings":"Y"},"geometry":{"type":"Point","coordinates":[-131.4,45.2]}}`
		}
		_, _ = io.WriteString(w, `{"type":"FeatureCollection","features":[`+feature+`],"links":[]}`)
	}))
	t.Cleanup(s.Close)
	return s.URL
}

func page(body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/geo+json")
		_, _ = io.WriteString(w, body)
	}
}

func oneGauge(base string) string {
	return fmt.Sprintf("backfill-years = 1\n[feeds.usgs]\nbase-url = \"%s/ogcapi/v1\"\n[[river]]\nname = \"Beck\"\nzone = \"UTC\"\nlat = 45.2\nlon = -131.4\n  [[river.gauge]]\n  feed = \"usgs\"\n  site = \"99000009\"\n  variables = [\"water_temperature\"]\n", base)
}

func TestARevisedAnswerReplacesAndTheOldViewStays(t *testing.T) {
	t.Parallel()
	var body atomic.Value
	body.Store(gaugeAnswer(`"8.1"`, `"8.3"`, `"8.2"`))
	base := scripted(t, func(w http.ResponseWriter, r *http.Request) { page(body.Load().(string))(w, r) })
	dir, path := write(t, oneGauge(base))
	monday, tuesday := demo.Issue, demo.Issue.AddDate(0, 0, 1)
	if code, _, errs := call(t, monday, "ingest", "--config", path); code != 0 {
		t.Fatal(errs)
	}
	body.Store(gaugeAnswer(`"8.1"`, `"7.9"`, `"8.2"`))
	code, out, errs := call(t, tuesday, "ingest", "--config", path)
	if code != 0 || !strings.Contains(out, "1 revised") {
		t.Fatalf("exit %d, %s%s", code, out, errs)
	}
	s := open(t, dir)
	keys, err := s.Keys(t.Context())
	if err != nil || len(keys) != 1 {
		t.Fatalf("%v, %v", keys, err)
	}
	for _, c := range []struct {
		asOf time.Time
		want float64
	}{{time.Time{}, 7.9}, {monday, 8.3}, {tuesday, 7.9}} {
		got, err := s.Read(t.Context(), keys[0], series.Query{AsOf: c.asOf})
		if err != nil || got.Len() != 3 || got.Value[1] != c.want {
			t.Errorf("as of %v: %v, %v; want %v", c.asOf, got.Value, err, c.want)
		}
	}
}

// What a feed can do wrong costs freshness: one sentence, exit code 1, and not a
// byte of what is stored.
func TestBadAnswersLoseNothing(t *testing.T) {
	t.Parallel()
	ok := gaugeAnswer(`"8.1"`, `"8.3"`, `"8.2"`)
	for _, c := range []struct {
		name   string
		answer http.HandlerFunc
		want   string
	}{
		{"malformed JSON", page(`{"type":"FeatureCollection","features":[{`), "usgs"},
		{"a truncated body", func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/geo+json")
			w.Header().Set("Content-Length", fmt.Sprint(len(ok)))
			_, _ = io.WriteString(w, ok[:len(ok)/2])
		}, "usgs"},
		{"an empty series", page(`{"type":"FeatureCollection","features":[],"links":[]}`), "returned no readings"},
		{"an unknown unit", page(strings.ReplaceAll(ok, "degC", "degX")), "degX"},
		{"too many requests", func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Retry-After", "7200")
			w.WriteHeader(http.StatusTooManyRequests)
		}, "429"},
		{"an unknown gauge", func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(http.StatusNotFound)
			_, _ = io.WriteString(w, `{"code":"NotFound","type":"NotFound","description":"no such location"}`)
		}, "404"},
		{"another kind of body", func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html")
			_, _ = io.WriteString(w, "<html>maintenance</html>")
		}, "text/html"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var broken atomic.Bool
			base := scripted(t, func(w http.ResponseWriter, r *http.Request) {
				if broken.Load() {
					c.answer(w, r)
					return
				}
				page(ok)(w, r)
			})
			dir, path := write(t, oneGauge(base))
			if code, _, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 {
				t.Fatal(errs)
			}
			before := digest(t, dir)
			broken.Store(true)
			code, out, errs := call(t, demo.Issue.AddDate(0, 0, 1), "ingest", "--config", path)
			if code != 1 {
				t.Errorf("exit code %d, want 1\n%s", code, out)
			}
			if !strings.Contains(out, c.want) || !strings.Contains(errs, "stored data unchanged") {
				t.Errorf("%q does not say %q", out+errs, c.want)
			}
			if lines := strings.Split(strings.TrimSpace(out), "\n"); len(lines) != 2 || !strings.Contains(lines[1], "3 readings") {
				t.Errorf("not one line of the failure and one of what is stored:\n%s", out)
			}
			if digest(t, dir) != before {
				t.Error("the store changed")
			}
		})
	}
}

func TestMissingCodesAndIceAreNoReadings(t *testing.T) {
	t.Parallel()
	base := scripted(t, page(strings.Replace(gaugeAnswer(`"8.1"`, `"-999999"`, `null`, `"8.2"`), `"qualifier":null`, `"qualifier":["ICE"]`, 1)))
	dir, path := write(t, oneGauge(base))
	if code, _, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 {
		t.Fatal(errs)
	}
	s := open(t, dir)
	keys, _ := s.Keys(t.Context())
	got, err := s.Read(t.Context(), keys[0], series.Query{})
	if err != nil {
		t.Fatal(err)
	}
	if got.MissingCount() != got.Len()-2 || got.Qualifier[0] != "ICE" {
		t.Errorf("values %v, qualifiers %v", got.Value, got.Qualifier)
	}
	for i, v := range got.Value {
		if v != v && got.Flag[i] != ingest.Missing {
			t.Errorf("a missing reading has flag %d", got.Flag[i])
		}
	}
}

func TestAnUnreachableFeedSaysSo(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	s := httptest.NewServer(http.NotFoundHandler())
	base := s.URL
	s.Close()
	_, path := write(t, oneGauge(base))
	var out, errs bytes.Buffer
	e := &env{ctx: ctx, stdin: strings.NewReader(""), stdout: &out, stderr: &errs, now: func() time.Time { return demo.Issue }, sleep: noPause}
	if code := runEnv(e, []string{"ingest", "--config", path}); code != 1 || !strings.Contains(out.String(), "refused") {
		t.Errorf("exit %d: %s%s", code, out.String(), errs.String())
	}
}

func TestAFaultyConfigIsAUsageError(t *testing.T) {
	_, path := write(t, "[[river]]\nname = \"Beck\"\ncolour = 1\n")
	if code, _, errs := call(t, demo.Issue, "ingest", "--config", path); code != 2 || !strings.Contains(errs, `"river.colour" (line 3)`) {
		t.Errorf("exit %d: %s", code, errs)
	}
}
