package schedule

import (
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

type named struct{ ingest.Source }

func (named) Name() string { return "usgs" }

func TestANoteOfTheOldKeysIsRead(t *testing.T) {
	store, err := series.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	in, task := Intake{Store: store}, Task{Source: named{}, Request: ingest.Request{Site: "s"}}
	if err := store.Files().Write(t.Context(), task.noteName(), []byte(`{"owed":"2026-03-01T00:00:00Z","began":"2026-01-01T00:00:00Z"}`)); err != nil {
		t.Fatal(err)
	}
	want := note{ResumeAt: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), GapStart: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	for range 2 { // as it was stored, then as it is written now
		got, err := in.note(t.Context(), task)
		if err != nil || got != want {
			t.Fatalf("%+v, %v; want %+v", got, err, want)
		}
		if err := in.setNote(t.Context(), task, got); err != nil {
			t.Fatal(err)
		}
	}
}
