package nws

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
)

var noon = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

func source(t *testing.T, h http.Handler) *Source {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	cl, err := client.New(client.Options{UserAgent: "eclose-test (ranger@example.org)", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	return &Source{Client: cl, BaseURL: srv.URL + "/", Now: func() time.Time { return noon }}
}

func fetch(t *testing.T, s *Source, req ingest.Request) ([]ingest.Series, error) {
	t.Helper()
	var out []ingest.Series
	err := s.Fetch(t.Context(), req, func(x ingest.Series) error { out = append(out, x); return nil })
	return out, err
}

func TestFetchFromRecordedAnswers(t *testing.T) {
	rain := []ingest.Variable{ingest.Precipitation}
	for _, c := range []struct {
		name    string
		req     ingest.Request
		n, rows int
		key     string
		fault   string
		again   bool
	}{
		{"all layers of the cell around a place", ingest.Request{Lat: 32.778, Lon: -96.796}, 6, 198 + 198 + 189 + 198 + 176 + 56, "nws/32.778,-96.796/air_temperature/instant/ts=forecast", "", false},
		{"one layer, one day of it", ingest.Request{Lat: 32.778, Lon: -96.796, Variables: rain, From: time.Date(2024, 5, 8, 0, 0, 0, 0, time.UTC), To: time.Date(2024, 5, 9, 0, 0, 0, 0, time.UTC)}, 1, 24, "nws/32.778,-96.796/precipitation/sum/PT1H/ts=forecast", "", false},
		{"a place written with more decimals than the service takes", ingest.Request{Lat: 32.77800001, Lon: -96.79600001, Variables: rain}, 1, 176, "nws/32.778,-96.796/precipitation/sum/PT1H/ts=forecast", "", false},
		{"observations of a station", ingest.Request{Site: "KFLL", Variables: []ingest.Variable{ingest.AirTemperature}}, 1, 1, "nws/KFLL/air_temperature/instant", "", false},
		{"a station that has been silent is an empty answer", ingest.Request{Site: "KXXX"}, 0, 0, "", "", false},
		{"a point outside the land of the United States", ingest.Request{Lat: 90, Lon: 120.5517}, 0, 0, "", "Data Unavailable For Requested Point", false},
		{"a grid that the office has let expire passes", ingest.Request{Lat: 30, Lon: -85}, 0, 0, "", "Forecast Grid Expired", true},
		{"a station that is none", ingest.Request{Site: "../points"}, 0, 0, "", "not a station", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			rep := replay.New(replay.Shared(t, "feeds"), replay.NWS)
			got, err := fetch(t, source(t, rep), c.req)
			if (err != nil) != (c.fault != "") || err != nil && !strings.Contains(err.Error(), c.fault) {
				t.Fatalf("got %v, want %q", err, c.fault)
			}
			if again, _ := ingest.Retryable(err); again != c.again {
				t.Errorf("retryable is %v, want %v", again, c.again)
			}
			rows := 0
			for _, x := range got {
				rows += x.Len()
			}
			if len(got) != c.n || rows != c.rows || c.n > 0 && (got[0].String() != c.key || got[0].Retrieved[0] != noon.UnixMicro()) {
				t.Errorf("%d series, %d readings, first %v; want %d, %d, %s", len(got), rows, got, c.n, c.rows, c.key)
			}
			for _, r := range rep.Asked() {
				if !strings.Contains(r.UserAgent(), "@") || !strings.Contains(r.Header.Get("Accept"), "application/geo+json") {
					t.Errorf("asked as %q for %q", r.UserAgent(), r.Header.Get("Accept"))
				}
			}
		})
	}
}

func TestTheCellIsAskedForOnceAndAgainWhenTheOfficeRedrewItsGrid(t *testing.T) {
	points, moved := 0, false
	mux := http.NewServeMux()
	mux.HandleFunc("/points/", func(w http.ResponseWriter, _ *http.Request) {
		points++
		w.Header().Set("Content-Type", "application/geo+json")
		x := 1
		if moved {
			x = 2
		}
		// The links point elsewhere: they are not what chooses the host.
		fmt.Fprintf(w, `{"properties":{"forecastGridData":"https://evil.example.net/x","gridId":"PDT","gridX":%d,"gridY":"9"}}`, x)
	})
	mux.HandleFunc("/gridpoints/PDT/", func(w http.ResponseWriter, r *http.Request) {
		if moved != strings.Contains(r.URL.Path, "/2,9") {
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(404)
			fmt.Fprint(w, `{"type":"https://api.weather.gov/problems/NotFound","title":"Not Found","status":404,"detail":"no grid"}`)
			return
		}
		w.Header().Set("Content-Type", "application/geo+json")
		fmt.Fprint(w, grid(`"temperature":{"uom":"wmoUnit:degC","values":[{"validTime":"2026-05-18T12:00:00+00:00/PT2H","value":9}]}`))
	})
	s := source(t, mux)
	for i, want := range []int{1, 1, 2} {
		if i == 2 {
			moved = true
		}
		got, err := fetch(t, s, ingest.Request{Lat: 44.7, Lon: -121.2})
		if err != nil || len(got) != 1 || got[0].Len() != 2 || points != want {
			t.Errorf("fetch %d: %v, %v after %d questions for the cell, want %d", i, got, err, points, want)
		}
	}
}

func TestObservationsComeInPages(t *testing.T) {
	var srv *httptest.Server
	page := func(at, next string) string {
		return fmt.Sprintf(`{"type":"FeatureCollection","features":[{"properties":{"station":"https://api.weather.gov/stations/KRDM","timestamp":%q,"temperature":{"unitCode":"wmoUnit:degC","value":9,"qualityControl":"V"}}}],"pagination":{"next":%q}}`, at, next)
	}
	srv = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/geo+json")
		switch r.URL.Query().Get("cursor") {
		case "":
			fmt.Fprint(w, page("2026-05-18T11:00:00+00:00", srv.URL+r.URL.Path+"?cursor=b"))
		case "b":
			fmt.Fprint(w, page("2026-05-18T10:00:00+00:00", "https://api.example.net/x"))
		}
	}))
	t.Cleanup(srv.Close)
	s := source(t, http.NotFoundHandler())
	s.BaseURL = srv.URL
	got, err := fetch(t, s, ingest.Request{Site: "KRDM"})
	if len(got) != 2 || err == nil || !strings.Contains(err.Error(), "is not allowed") {
		t.Errorf("got %d pages, %v; want two, then the refusal of a link to another host", len(got), err)
	}
}
