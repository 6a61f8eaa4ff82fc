package feed_test

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/bafu"
	"example.org/eclose/ingest/feed/csvfile"
	"example.org/eclose/ingest/feed/eahydrology"
	"example.org/eclose/ingest/feed/eccc"
	"example.org/eclose/ingest/feed/ghcn"
	"example.org/eclose/ingest/feed/nws"
	"example.org/eclose/ingest/feed/openmeteo"
	"example.org/eclose/ingest/feed/sensorthings"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/ingest/feed/waterml2"
)

// live is a feed that asks a server.
type live struct {
	media string // what it accepts
	req   ingest.Request
	new   func(t *testing.T, c *client.Client, base string) ingest.Source
}

var (
	theEnd = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)
	now    = func() time.Time { return theEnd }
	air    = []ingest.Variable{ingest.AirTemperature}
	flow   = []ingest.Variable{ingest.Discharge}
	since  = theEnd.AddDate(0, 0, -7)
)

var lives = map[string]live{
	"usgs": {"application/geo+json", ingest.Request{Site: "99000001", Variables: flow, From: since}, func(t *testing.T, c *client.Client, base string) ingest.Source {
		s, err := usgs.New(usgs.Config{Client: c, BaseURL: base + "/ogcapi/v1", Now: now})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}},
	"open-meteo": {"application/json", ingest.Request{Lat: 44.7, Lon: -121.2, Variables: air}, func(_ *testing.T, c *client.Client, base string) ingest.Source {
		return openmeteo.Source{Client: c, BaseURL: base, Product: openmeteo.Forecast, Accepted: true, Now: now}
	}},
	"nws": {"application/geo+json", ingest.Request{Site: "KRDM", Variables: air, From: since}, func(_ *testing.T, c *client.Client, base string) ingest.Source {
		return &nws.Source{Client: c, BaseURL: base, Now: now}
	}},
	"ghcn": {"text/csv", ingest.Request{Site: "USW00024233", Variables: air, From: since}, func(_ *testing.T, c *client.Client, base string) ingest.Source {
		return ghcn.Source{Client: c, BaseURL: base, Now: now}
	}},
	"ea": {"application/json", ingest.Request{Site: "11111111-2222-3333-4444-555555555555", Variables: flow, From: since}, func(_ *testing.T, c *client.Client, base string) ingest.Source {
		return eahydrology.Source{Client: c, BaseURL: base, Now: now}
	}},
	"eccc": {"text/csv", ingest.Request{Site: "05BB001", Variables: flow, From: since}, func(_ *testing.T, c *client.Client, base string) ingest.Source {
		return eccc.Source{Client: c, BaseURL: base, GeoMetURL: base, Now: now}
	}},
	"bafu": {"application/xml", ingest.Request{Site: "2009", Variables: flow, From: since}, func(_ *testing.T, c *client.Client, base string) ingest.Source {
		return bafu.Source{Client: c, BaseURL: base + "/hydroweb.xml", Now: now}
	}},
	"waterml2": {"application/xml", ingest.Request{Site: "7", Variables: flow, From: since}, func(t *testing.T, c *client.Client, base string) ingest.Source {
		s, err := waterml2.New(waterml2.Config{Client: c, URL: base + "/sos?f={site}&t={from}/{to}", Now: now})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}},
	"sensorthings": {"application/json", ingest.Request{Site: "7", Variables: flow, From: since}, func(_ *testing.T, c *client.Client, base string) ingest.Source {
		return sensorthings.Source{Client: c, BaseURL: base + "/v1.1", Now: now}
	}},
}

// TestWhateverAServerDoesGivesOneClearSentenceAndNoReading runs every live feed
// against every fault, over real HTTP.
func TestWhateverAServerDoesGivesOneClearSentenceAndNoReading(t *testing.T) {
	status := func(code int, body string) func(http.ResponseWriter, string) {
		return func(w http.ResponseWriter, _ string) {
			w.Header().Set("Content-Type", "text/plain")
			w.WriteHeader(code)
			_, _ = io.WriteString(w, body)
		}
	}
	body := func(s string) func(http.ResponseWriter, string) {
		return func(w http.ResponseWriter, media string) {
			w.Header().Set("Content-Type", media)
			_, _ = io.WriteString(w, s)
		}
	}
	for _, c := range []struct {
		name   string
		answer func(w http.ResponseWriter, media string) // nil: none, ever
		want   string                                    // in the message; "" if an empty result is right
		again  bool                                      // whether the next run may find it well
		quiet  string                                    // feeds for which the fault is an empty answer and no error
	}{
		{"unknown gauge", status(404, "no such site\n\tat all"), "404", false, ""},
		{"key refused", status(403, "bad key"), "403", false, ""},
		{"too many requests", func(w http.ResponseWriter, _ string) {
			w.Header().Set("Retry-After", "30")
			w.WriteHeader(429)
		}, "too many requests", true, ""},
		{"a fault of the server", status(500, strings.Repeat("panic ", 2000)), "500", true, ""},
		{"no answer in time", nil, "no answer", true, ""},
		{"a body that breaks off on its way", func(w http.ResponseWriter, media string) {
			w.Header().Set("Content-Type", media)
			w.Header().Set("Content-Length", "10000")
			_, _ = io.WriteString(w, `{"features":[`)
		}, "ended after", true, ""},
		{"a web page instead", func(w http.ResponseWriter, _ string) {
			w.Header().Set("Content-Type", "text/html")
			_, _ = io.WriteString(w, "<html>maintenance</html>")
		}, "instead of", true, ""},
		{"a web page that claims to be data", body("<!DOCTYPE html><html>maintenance</html>"), "web page", false, ""},
		{"malformed data", body("{\"features\":#,\x00\n\"value\":[[[\n"), "", false, ""},
		{"JSON that ends too early", body(`{"features":[{"properties":{"`), "", true, ""},
		{"a JSON word", body("null"), "", false, ""},
		{"nothing", body(""), "empty", false, "ghcn eccc"},
		{"more than anyone can hold", func(w http.ResponseWriter, media string) {
			w.Header().Set("Content-Type", media)
			block := []byte(strings.Repeat("0,", 32<<10))
			for range 1 << 10 {
				if _, err := w.Write(block); err != nil {
					return
				}
			}
		}, "larger than", false, ""},
	} {
		for name, l := range lives {
			t.Run(c.name+"/"+name, func(t *testing.T) {
				t.Parallel()
				srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
					if c.answer == nil {
						<-r.Context().Done() // until the client hangs up
						return
					}
					c.answer(w, l.media)
				}))
				t.Cleanup(srv.Close)
				timeout := 10 * time.Second
				if c.want == "no answer" {
					timeout = 100 * time.Millisecond
				}
				cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1, Timeout: timeout, MaxBody: 1 << 20})
				if err != nil {
					t.Fatal(err)
				}
				err = l.new(t, cl, srv.URL).Fetch(t.Context(), l.req, func(s ingest.Series) error {
					t.Errorf("the fault gave %d readings of %s", s.Len(), s.Key)
					return nil
				})
				if strings.Contains(c.quiet, name) {
					if err != nil {
						t.Errorf("got %v, want an empty answer", err)
					}
					return
				}
				oneClearSentence(t, err, name)
				if err == nil || c.want == "" {
					return
				}
				if !strings.Contains(err.Error(), c.want) {
					t.Errorf("got %v, want %q", err, c.want)
				}
				if again, _ := ingest.Retryable(err); again != c.again {
					t.Errorf("retryable is %v, want %v: %v", again, c.again, err)
				}
			})
		}
	}
}

// oneClearSentence holds an error to our form.
func oneClearSentence(t *testing.T, err error, feed string) {
	t.Helper()
	e, ok := errors.AsType[*ingest.Error](err)
	if !ok {
		t.Fatalf("the error %v is no *ingest.Error", err)
	}
	s := err.Error()
	if e.Feed != feed || e.Where == "" || e.Problem == "" || !strings.HasPrefix(s, feed+": ") {
		t.Errorf("%q does not name feed, place and problem", s)
	}
	if strings.ContainsAny(s, "\n\r\t\x00") || len(s) > 900 {
		t.Errorf("%q is not one sentence on one line", s)
	}
}

func TestFilesThatCannotBeReadSaySo(t *testing.T) {
	dir := t.TempDir()
	for _, path := range []string{filepath.Join(dir, "none.csv"), dir} {
		s := feed.Saved{Parser: csvfile.Parser{Columns: []csvfile.Column{{Name: "t", Variable: ingest.WaterTemperature, Unit: "°C"}}}, Path: path, Now: now}
		err := s.Fetch(t.Context(), ingest.Request{Variables: []ingest.Variable{ingest.WaterTemperature}}, func(ingest.Series) error { return fmt.Errorf("it gave a series") })
		oneClearSentence(t, err, "csv")
		if err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%v does not name %s", err, path)
		}
	}
}
