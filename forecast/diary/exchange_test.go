package diary

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

func TestNeighboursExchangeSightingsAndMayLeave(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		here := store(d)
		there := store(dbtest.Open(t, dbtest.SQLiteURL(t)))
		key, other := bytes.Repeat([]byte("k"), 32), bytes.Repeat([]byte("o"), 32)
		x := sighting()
		x.Notes, x.Observer = "met Jane Doe", "Jane Doe"
		if _, err := there.Add(t.Context(), x); err != nil {
			t.Fatal(err)
		}
		y := sighting()
		y.Day, y.Amount = day("2026-09-21"), None
		y, err := there.Add(t.Context(), y)
		if err != nil {
			t.Fatal(err)
		}
		rivers := []SharedRiver{{Slug: "wend", Name: "Wend", Lat: 45, Lon: -131}}
		share := func(leave bool) string {
			t.Helper()
			f, err := there.Share(t.Context(), key, rivers, leave)
			if err != nil {
				t.Fatal(err)
			}
			b, err := json.Marshal(f)
			if err != nil {
				t.Fatal(err)
			}
			return string(b)
		}
		receive := func(file string) Imported {
			t.Helper()
			f, err := ReadShared(strings.NewReader(file), now)
			if err != nil {
				t.Fatal(err)
			}
			n, err := here.Receive(t.Context(), f, Pseudonym(other, ""))
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
		file := share(false)
		if strings.Contains(file, "Jane") || strings.Contains(file, x.ID) && x.ID != "" {
			t.Errorf("the file names somebody: %s", file)
		}
		if n := receive(file); n.Added != 2 {
			t.Errorf("%+v", n)
		}
		if n := receive(file); n.Unchanged != 2 || n.Added != 0 {
			t.Errorf("again: %+v", n)
		}
		got, err := here.List(t.Context(), Filter{})
		if err != nil || len(got) != 2 || got[0].Origin != Neighbour || got[0].River != neighbourRiver(Pseudonym(key, ""), "wend") {
			t.Fatalf("%+v, %v", got, err)
		}
		if err := there.Withdraw(t.Context(), y.ID); err != nil {
			t.Fatal(err)
		}
		receive(share(false))
		if got, _ := here.List(t.Context(), Filter{}); len(got) != 1 {
			t.Errorf("%d sightings after one was withdrawn", len(got))
		}
		// What came from a neighbour is not passed on.
		if f, _ := here.Share(t.Context(), other, append(rivers, SharedRiver{Slug: got[0].River}), false); len(f.Sightings) != 0 {
			t.Errorf("passed on: %+v", f.Sightings)
		}
		receive(share(true))
		got, _ = here.List(t.Context(), Filter{})
		left, err := here.Neighbours(t.Context())
		if len(got) != 0 || len(left) != 0 || err != nil {
			t.Errorf("after leaving: %d sightings, %d neighbours, %v", len(got), len(left), err)
		}
		own, err := ReadShared(strings.NewReader(file), now)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := here.Receive(t.Context(), own, Pseudonym(key, "")); err == nil {
			t.Error("its own file was received")
		}
	})
}

func FuzzReadShared(f *testing.F) {
	f.Add(`{"eclose_sightings":1,"installation":"0123456789abcdef","rivers":[{"slug":"wend","name":"Wend","lat":1,"lon":2}],"sightings":[{"id":"0123456789abcdef","by":"0123456789abcdef","date":"2026-05-01","river":"wend","group":"skwala","stage":"emergence","amount":"few","hours":1}]}`)
	f.Add(`{"eclose_sightings":1}`)
	f.Fuzz(func(t *testing.T, s string) {
		x, err := ReadShared(strings.NewReader(s), now)
		if err != nil {
			return
		}
		for _, y := range x.Sightings {
			if err := x.sighting(y).Check(now); err != nil {
				t.Error(err)
			}
		}
	})
}
