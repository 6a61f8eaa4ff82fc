package inaturalist

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
	"example.org/eclose/ingest/occurrence"
)

func recorded(t testing.TB, name string) *os.File {
	t.Helper()
	f, err := os.Open(replay.Shared(t, "sightings", "inaturalist", name))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

func TestRecordedObservations(t *testing.T) {
	p, err := ParsePage(recorded(t, "get_observations_page1.json"))
	if err != nil || len(p.Records) != 1 || p.Total != 2 || p.LastID != 57754375 {
		t.Fatalf("%+v, %v", p, err)
	}
	r := p.Records[0]
	if r.Key != "inaturalist:57754375" || r.Name != "Danaus plexippus" || r.Stage != occurrence.StageUnknown || r.Start.Format(time.DateOnly) != "2020-08-27" ||
		r.Licence != occurrence.CCBYNC || r.LatDeg != 50.0949055 || r.LonDeg != -104.71929167 || r.Obscured || !r.Confirmed {
		t.Errorf("%+v", r)
	}
	p, err = ParsePage(recorded(t, "get_observation_with_ofvs.json"))
	if err != nil || len(p.Records) != 1 {
		t.Fatal(err)
	}
	// An adult whose place was moved by 28 km, not yet confirmed.
	if r := p.Records[0]; r.Stage != occurrence.Adult || !r.Obscured || r.UncertaintyM != 27754 || r.Confirmed {
		t.Errorf("%+v", r)
	}
}

func TestRecordedHistogram(t *testing.T) {
	days, err := parseHistogram(recorded(t, "get_observation_histogram_day.json"))
	if err != nil || len(days) != 31 || days[time.Date(2020, 1, 5, 0, 0, 0, 0, time.UTC)] != 13 {
		t.Errorf("%d days, %v", len(days), err)
	}
	if _, err := parseHistogram(recorded(t, "get_observation_histogram_month_of_year.json")); err == nil {
		t.Error("months were read as days")
	}
}

func TestAnnotationsTellTheStage(t *testing.T) {
	for _, c := range []struct {
		name string
		all  []annotation
		want occurrence.LifeStage
	}{
		{"none", nil, occurrence.StageUnknown},
		{"a subimago", []annotation{{1, 16, 0}}, occurrence.Subimago},
		{"voted down", []annotation{{1, 2, -1}}, occurrence.StageUnknown},
		{"a nymph", []annotation{{1, 5, 1}}, occurrence.Immature},
		{"the skin of a nymph", []annotation{{1, 5, 0}, {22, 28, 0}}, occurrence.Exuvia},
		{"a nymph and an adult", []annotation{{1, 5, 0}, {1, 2, 0}}, occurrence.StageUnknown},
		{"the sex alone", []annotation{{9, 10, 0}}, occurrence.StageUnknown},
	} {
		if got := stageOf(c.all); got != c.want {
			t.Errorf("%s: %q", c.name, got)
		}
	}
}

// serve answers from an invented list of so many observations.
func serve(t *testing.T, n int, answer func(w http.ResponseWriter, above int, body string) bool) Source {
	t.Helper()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		above, err := strconv.Atoi(r.URL.Query().Get("id_above"))
		if err != nil || r.URL.Query().Get("order") != "asc" || r.URL.Query().Get("order_by") != "id" {
			t.Errorf("asked %s", r.URL)
		}
		var list []string
		for id := above + 1; id <= n && len(list) < 200; id++ {
			list = append(list, fmt.Sprintf(`{"id":%d,"observed_on":"2026-05-01","taxon":{"name":"Baetis rhodani"}}`, id))
		}
		body := fmt.Sprintf(`{"total_results":%d,"results":[%s]}`, max(0, n-above), strings.Join(list, ","))
		w.Header().Set("Content-Type", "application/json")
		if answer != nil && answer(w, above, body) {
			return
		}
		_, _ = w.Write([]byte(body))
	}))
	t.Cleanup(srv.Close)
	c, err := client.New(client.Options{UserAgent: "test", PerSecond: 1e6, Sleep: func(context.Context, time.Duration) error { return nil }})
	if err != nil {
		t.Fatal(err)
	}
	return Source{Client: c, BaseURL: srv.URL}
}

// collect fetches as a caller does that goes on where it stopped.
func collect(t *testing.T, s Source, seen map[string]int, from int64) (int64, error) {
	t.Helper()
	last := from
	err := s.Fetch(t.Context(), Query{RadiusKm: 10, IDAbove: from}, func(page []occurrence.Record, id int64) error {
		for _, r := range page {
			seen[r.Key]++
		}
		last = id
		return nil
	})
	return last, err
}

func TestPagingByIDLosesNothingAndDoublesNothing(t *testing.T) {
	seen := map[string]int{}
	if _, err := collect(t, serve(t, 450, nil), seen, 0); err != nil || len(seen) != 450 {
		t.Fatalf("%d records, %v", len(seen), err)
	}
	failed := false
	s := serve(t, 450, func(w http.ResponseWriter, above int, body string) bool {
		if above != 200 || failed {
			return false
		}
		failed = true
		_, _ = w.Write([]byte(body[:len(body)/2])) // cut short, with a good status
		return true
	})
	seen = map[string]int{}
	last, err := collect(t, s, seen, 0)
	if err == nil || last != 200 || len(seen) != 200 {
		t.Fatalf("a page cut short: %d records up to %d, %v", len(seen), last, err)
	}
	if _, err := collect(t, s, seen, last); err != nil || len(seen) != 450 {
		t.Fatalf("going on: %d records, %v", len(seen), err)
	}
	for k, n := range seen {
		if n != 1 {
			t.Errorf("%s came %d times", k, n)
		}
	}
}

func TestAServerThatRepeatsPagesOrLiesEndsInAFault(t *testing.T) {
	first := ""
	for name, answer := range map[string]func(w http.ResponseWriter, above int, body string) bool{
		"the first page for ever": func(w http.ResponseWriter, above int, body string) bool {
			if above == 0 {
				first = body
			}
			_, _ = w.Write([]byte(first))
			return true
		},
		"more is announced than comes": func(w http.ResponseWriter, above int, _ string) bool {
			if above == 0 {
				return false
			}
			_, _ = w.Write([]byte(`{"total_results":250,"results":[]}`))
			return true
		},
		"no results": func(w http.ResponseWriter, _ int, _ string) bool {
			_, _ = w.Write([]byte(`{"error":"x"}`))
			return true
		},
		"no id": func(w http.ResponseWriter, _ int, _ string) bool {
			_, _ = w.Write([]byte(`{"total_results":1,"results":[{}]}`))
			return true
		},
	} {
		seen := map[string]int{}
		last, err := collect(t, serve(t, 450, answer), seen, 0)
		if err == nil {
			t.Errorf("%s: no fault", name)
		}
		if int64(len(seen)) != last {
			t.Errorf("%s: %d records, cursor %d", name, len(seen), last)
		}
	}
	stop := errors.New("stop")
	if err := serve(t, 3, nil).Fetch(t.Context(), Query{}, func([]occurrence.Record, int64) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("an error of the caller: %v", err)
	}
}

func FuzzParsePage(f *testing.F) {
	f.Add(`{"total_results":1,"results":[{"id":1,"observed_on":"2026-05-01","location":"1,2","annotations":[{"controlled_attribute_id":1,"controlled_value_id":2}],"taxon":{"name":"A b"}}]}`)
	f.Add(`{"results":{}}`)
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePage(strings.NewReader(s))
		for _, r := range p.Records {
			if err == nil && r.Key == "" {
				t.Error("a record without a key")
			}
		}
	})
}

func FuzzParseHistogram(f *testing.F) {
	f.Add(`{"results":{"day":{"2020-01-01":3}}}`)
	f.Fuzz(func(_ *testing.T, s string) { _, _ = parseHistogram(strings.NewReader(s)) })
}
