package gbif

import (
	"context"
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

func recorded(t testing.TB, name string) Page {
	t.Helper()
	f, err := os.Open(replay.Shared(t, "sightings", "gbif", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p, err := ParsePage(f)
	if err != nil || len(p.Records) != 2 {
		t.Fatalf("%s: %d records, %v", name, len(p.Records), err)
	}
	return p
}

func TestRecordedResponses(t *testing.T) {
	moths := recorded(t, "occ_data_lifeStage-0.json")
	if moths.Count != 133962462 || moths.End {
		t.Errorf("%d, %v", moths.Count, moths.End)
	}
	if r := moths.Records[0]; r.Key != "gbif:1840959516" || r.Name != "Cosmophila" || r.Stage != occurrence.Adult || r.Licence != occurrence.CCBY || r.Absent || r.Order != "Lepidoptera" {
		t.Errorf("%+v", r)
	}
	// An interval of two hours is a day; the place is known to a kilometre.
	if r := recorded(t, "occ_data_coordinateUncertaintyInMeters-0.json").Records[0]; r.Days() != 1 || r.UncertaintyM != 1000 || r.Count != 21 || r.Key != "http://tun.fi/JX.1792905#21" {
		t.Errorf("%+v", r)
	}
	if r := recorded(t, "occ_data_elevation-0.json").Records[1]; r.Days() != 10 || r.ElevationM != 1000 || r.Licence != occurrence.CCBYNC {
		t.Errorf("%+v", r)
	}
	// An observation of iNaturalist keeps its own name, and the day there though
	// it lay on another in Greenwich.
	if r := recorded(t, "occ_data_geometry_bb-0.json").Records[0]; r.Key != "inaturalist:283854559" || r.Start.Format(time.DateOnly) != "2025-04-30" {
		t.Errorf("%+v", r)
	}
	recorded(t, "occ_data_event_date-0.json")
}

// serve has an invented list of so many records of 2025 and none of other years.
func serve(t *testing.T, n, page int, lie func(offset int, body string) string) Source {
	t.Helper()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		offset, _ := strconv.Atoi(q.Get("offset"))
		of := n
		if !strings.HasPrefix(q.Get("eventDate"), "2025") {
			of = 0
		}
		var list []string
		for k := offset; k < of && len(list) < page; k++ {
			list = append(list, fmt.Sprintf(`{"key":%d,"eventDate":"2025-05-01","species":"Baetis rhodani"}`, k+1))
		}
		body := fmt.Sprintf(`{"offset":%d,"count":%d,"endOfRecords":%v,"results":[%s]}`, offset, of, offset+len(list) >= of, strings.Join(list, ","))
		if lie != nil {
			body = lie(offset, body)
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write([]byte(body))
	}))
	t.Cleanup(srv.Close)
	c, err := client.New(client.Options{UserAgent: "test", PerSecond: 1e6, Sleep: func(context.Context, time.Duration) error { return nil }})
	if err != nil {
		t.Fatal(err)
	}
	return Source{Client: c, BaseURL: srv.URL}
}

func TestAllRecordsOfAllYearsComeOnce(t *testing.T) {
	q := Query{From: time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)}
	first := ""
	for _, c := range []struct {
		name string
		page int
		lie  func(int, string) string
		bad  bool
	}{
		{"as documented", 300, nil, false},
		{"pages shorter than asked for", 70, nil, false},
		{"the first page for ever", 300, func(offset int, body string) string {
			if offset == 0 && strings.Contains(body, "key") {
				first = body
			}
			if first != "" {
				return first
			}
			return body
		}, true},
		{"an end that does not come", 300, func(offset int, body string) string {
			if offset >= 650 {
				return fmt.Sprintf(`{"offset":%d,"count":9999,"endOfRecords":false,"results":[]}`, offset)
			}
			return strings.Replace(body, `"endOfRecords":true`, `"endOfRecords":false`, 1)
		}, true},
	} {
		seen := map[string]int{}
		err := serve(t, 650, c.page, c.lie).Fetch(t.Context(), q, func(page []occurrence.Record) error {
			for _, r := range page {
				seen[r.Key]++
			}
			return nil
		})
		if (err != nil) != c.bad || !c.bad && len(seen) != 650 {
			t.Errorf("%s: %d records, %v", c.name, len(seen), err)
		}
		for k, n := range seen {
			if n != 1 {
				t.Errorf("%s: %s came %d times", c.name, k, n)
			}
		}
	}
}

func FuzzParsePage(f *testing.F) {
	f.Add(`{"offset":0,"count":1,"endOfRecords":true,"results":[{"key":1,"eventDate":"2025-01-01T08:30Z/2025-01-01T10:52Z","lifeStage":{"concept":"Adult"},"license":"x"}]}`)
	f.Add(`{"results":[{"key":"7","lifeStage":[],"decimalLatitude":"x"}]}`)
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePage(strings.NewReader(s))
		for _, r := range p.Records {
			if err == nil && (r.Key == "" || !r.Start.IsZero() && r.Days() < 1) {
				t.Errorf("%+v", r)
			}
		}
	})
}
