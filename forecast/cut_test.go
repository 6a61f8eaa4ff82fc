package forecast

import (
	"context"
	"reflect"
	"testing"
	"time"
)

func TestACutRecordIsWhatWouldHaveBeenGathered(t *testing.T) {
	ctx := context.Background()
	end := time.Date(2026, 5, 18, 18, 20, 0, 0, time.UTC)
	fetched := end.Add(time.Hour)
	store := inventStore(t, end, fetched, 3, 0, 4)
	whole, err := Gather(ctx, store, beck, end)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []time.Time{end.AddDate(-1, -4, 3), end.AddDate(0, -3, 0), end.AddDate(0, 0, -1)} {
		if known, err := RetrievedBy(ctx, store, beck, at); err != nil || known {
			t.Fatalf("retrieved by %s: %v, %v", at, known, err)
		}
		want, err := Gather(ctx, store, beck, at)
		if err != nil {
			t.Fatal(err)
		}
		got := whole.Cut(at, beck.Zone)
		// The last readings themselves are not daily and not in a cut.
		want.FlowNow, want.WaterNow, want.Cutoff = Reading{}, Reading{}, got.Cutoff
		a, err := want.Outlook(beck, catalogue(t), Options{Members: 20})
		if err != nil {
			t.Fatal(err)
		}
		b, err := got.Outlook(beck, catalogue(t), Options{Members: 20})
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(a, b) {
			t.Errorf("as of %s the cut record gives another outlook", at)
		}
	}
	if known, err := RetrievedBy(ctx, store, beck, fetched); err != nil || !known {
		t.Errorf("retrieved by the fetch: %v, %v", known, err)
	}
}

func TestALeanOutlookHasTheSameChancesAndWindows(t *testing.T) {
	end := time.Date(2026, 5, 18, 18, 20, 0, 0, time.UTC)
	store := inventStore(t, end, end.Add(-time.Hour), 3, 0, 4)
	rec, err := Gather(context.Background(), store, beck, end)
	if err != nil {
		t.Fatal(err)
	}
	full, err := rec.Outlook(beck, catalogue(t), Options{Members: 20})
	if err != nil {
		t.Fatal(err)
	}
	fitted, err := rec.FitWater()
	if err != nil {
		t.Fatal(err)
	}
	is := new(Issuer)
	for range 2 { // the second from what the issuer kept
		lean, err := is.Outlook(rec, beck, catalogue(t), Options{Members: 20, ChancesOnly: true, Fitted: fitted})
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range full.Stages {
			l := lean.Stages[i]
			if s.Window != l.Window || s.Calendar != l.Calendar {
				t.Fatalf("%s %s: windows differ", s.Group, s.Stage)
			}
			for d, full := range s.Days.All() {
				if lean := l.Days.At(d); full.P != lean.P || full.PCalendar != lean.PCalendar {
					t.Fatalf("%s %s on %s: chances differ", s.Group, s.Stage, full.Date)
				}
			}
		}
	}
}
