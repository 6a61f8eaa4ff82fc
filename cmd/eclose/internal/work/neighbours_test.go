package work_test

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/db/dbtest"
)

// A neighbour's file is fetched by schedule, once more changes nothing, a page that is
// no such file changes nothing, and an address that the config does not name is never
// asked.
func TestNeighboursAreFetchedBySchedule(t *testing.T) {
	now := time.Date(2026, 6, 14, 20, 20, 0, 0, time.UTC)
	there := &diary.Store{DB: dbtest.Open(t, dbtest.SQLiteURL(t)), Now: func() time.Time { return now }}
	if _, err := there.Add(t.Context(), diary.Sighting{Day: now.Truncate(24 * time.Hour), River: "garrow", Group: "western-green-drake", Stage: diary.Emergence, Amount: diary.Many, Hours: 2}); err != nil {
		t.Fatal(err)
	}
	shared, err := there.Share(t.Context(), []byte("another installation's own key..."), []diary.SharedRiver{{Slug: "garrow", Name: "Garrow", Lat: 44.6, Lon: -131.1}}, false)
	if err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(shared)
	if err != nil {
		t.Fatal(err)
	}
	asked := map[string]int{}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if asked[r.URL.Path]++; asked[r.URL.Path] == 3 {
			body = []byte("<html>down for maintenance</html>")
		}
		_, _ = w.Write(body) // the test looks at what came of it
	}))
	defer srv.Close()
	web, err := client.New(client.Options{UserAgent: "test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop(), Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	url := srv.URL + "/shared.json"
	h := &work.Service{DB: d, Queue: q, Web: web, Neighbours: []string{url}, ForecastSchedule: everyHour{}, Log: zerolog.Nop()}
	var plan *jobs.Plan
	for _, p := range h.Periodic() {
		if p.Name == "neighbours" {
			x := p.Make(now).(jobs.Plan)
			plan = &x
		}
	}
	if plan == nil {
		t.Fatal("nothing asks the neighbours by itself")
	}
	if err := h.Plan(t.Context(), *plan); err != nil {
		t.Fatal(err)
	}
	here := &diary.Store{DB: d, Now: func() time.Time { return now }}
	sightings := func() int {
		t.Helper()
		all, err := here.List(t.Context(), diary.Filter{})
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	for i := range 3 {
		err := h.FetchNeighbour(t.Context(), jobs.Neighbour{URL: url, Slot: now})
		if n := sightings(); n != 1 || (err != nil) != (i == 2) {
			t.Errorf("fetch %d: %d sightings, %v", i+1, n, err)
		}
	}
	var final jobs.Final
	if err := h.FetchNeighbour(t.Context(), jobs.Neighbour{URL: srv.URL + "/other.json", Slot: now}); !errors.As(err, &final) || asked["/other.json"] != 0 {
		t.Errorf("an address that nobody configured was asked: %v, %v", err, asked)
	}
}

type everyHour struct{}

func (everyHour) Next(t time.Time) time.Time { return t.Truncate(time.Hour).Add(time.Hour) }
