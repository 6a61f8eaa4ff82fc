package forecast

import (
	"encoding/json"
	"testing"
	"time"
)

// A model kept from an earlier outlook changes no byte, and a revised reading of
// the past makes another model.
func TestKeptWaterModelsChangeNoByte(t *testing.T) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	rec, err := Gather(t.Context(), inventStore(t, issue, issue.Add(-time.Hour), 4, 3, 1), beck, issue)
	if err != nil {
		t.Fatal(err)
	}
	c := catalogue(t)
	text := func(rec Record, opt Options) string {
		opt.Members = 20
		o, err := rec.Outlook(beck, c, opt)
		if err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(o)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	kept := new(Fits)
	alone := text(rec, Options{})
	for range 2 {
		if text(rec, Options{Fits: kept}) != alone {
			t.Fatal("an outlook with kept models differs from one without")
		}
	}
	if len(kept.kept) != 1 {
		t.Fatalf("%d models are kept of one river, want 1", len(kept.kept))
	}
	rec.Water[100] += 3
	if revised := text(rec, Options{}); text(rec, Options{Fits: kept}) != revised || revised == alone {
		t.Error("the model of a record before its revision was used after it")
	}
	if len(kept.kept) != 2 {
		t.Errorf("%d models are kept after a revision, want 2", len(kept.kept))
	}
	rec.Water[len(rec.Water)-1] += 3 // of this month: no other model
	if text(rec, Options{Fits: kept}); len(kept.kept) != 2 {
		t.Errorf("a reading of this month made another model: %d are kept", len(kept.kept))
	}
}
