package forecast

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// warmed is the beck with the air and the water of the last weeks before
// the issue moved by so many degrees.
func warmed(t *testing.T, issue time.Time, degrees float64) *Outlook {
	t.Helper()
	store := inventStore(t, issue, issue.Add(-time.Hour), 6, 0, 4)
	from := issue.Truncate(24*time.Hour).AddDate(0, 0, -60)
	for _, k := range []ingest.Key{beckWater, beckAir} {
		got, err := store.Read(context.Background(), k, series.Query{From: from})
		if err != nil {
			t.Fatal(err)
		}
		v := slices.Clone(got.Value)
		for i := range v {
			v[i] += degrees
		}
		if _, err := store.Put(context.Background(), inventSeries(k, got.At(0), time.Hour, v), issue.Add(-time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	o, err := Issue(context.Background(), store, beck, catalogue(t), issue, Options{Members: 40})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func TestReasonsFollowTheWater(t *testing.T) {
	issue := time.Date(2026, 5, 18, 18, 20, 0, 0, time.UTC)
	as, warm, cold := warmed(t, issue, 0), warmed(t, issue, 2), warmed(t, issue, -2)
	if as.Departure == nil || warm.Departure == nil || warm.Departure.Days != 60 {
		t.Fatalf("departures %+v, %+v", as.Departure, warm.Departure)
	}
	if d := warm.Departure.MeanC - as.Departure.MeanC; math.Abs(d-2) > 0.02 {
		t.Errorf("two degrees more moved the departure by %v", d)
	}
	told := 0
	for i, s := range as.Stages {
		if s.AllYear {
			continue
		}
		w, c := warm.Stages[i], cold.Stages[i]
		if s.AllYear {
			continue
		}
		if s.ruledByCalendar() {
			if s.Early != nil || !strings.Contains(fmt.Sprint(s.Reasons), "Set by the calendar") {
				t.Errorf("%s %s: %v", s.Group, s.Stage, s.Reasons)
			}
			continue
		}
		if s.Early == nil || w.Early == nil || c.Early == nil || s.Window.Peak.P10 < as.IssueDate() {
			continue // of next year, or over before the warm weeks
		}
		told++
		if !(*w.Early >= *s.Early && *s.Early >= *c.Early && *w.Early > *c.Early) {
			t.Errorf("%s %s: %v days early, %v when warmer, %v when colder", s.Group, s.Stage, *s.Early, *w.Early, *c.Early)
		}
		if *w.Early >= 2 && warm.Departure.MeanC > 0 {
			text := fmt.Sprint(w.Reasons)
			if !strings.Contains(text, "days early for this river") || !strings.Contains(text, "warmer than usual (6 seasons)") || !strings.Contains(text, "°F") {
				t.Errorf("%s %s: %s", s.Group, s.Stage, text)
			}
		}
		for _, x := range [][]Remark{w.Reasons, c.Reasons} {
			text := fmt.Sprint(x)
			if strings.Contains(text, "early") && strings.Contains(text, "colder") || strings.Contains(text, "late for") && strings.Contains(text, "warmer") {
				t.Errorf("%s %s: a reason that speaks against itself: %s", s.Group, s.Stage, text)
			}
		}
	}
	if told < 20 {
		t.Errorf("only %d stages were told of", told)
	}
}

func TestTheTableSaysHoursAndWhatMovedTheDate(t *testing.T) {
	o := warmed(t, time.Date(2026, 5, 18, 18, 20, 0, 0, time.UTC), 2)
	var b bytes.Buffer
	if err := o.WriteTable(&b, TableOptions{}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{"early here", "before the calendar", "water temperature barely shifts it", "warmer than usual (6 seasons)", "overrule it."} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("the table does not say %q:\n%s", want, text)
		}
	}
	for line := range strings.SplitSeq(text, "\n") {
		if utf8.RuneCountInString(line) > 80 {
			t.Errorf("wider than a terminal: %q", line)
		}
		if strings.Contains(line, "…") {
			t.Errorf("cut off: %q", line)
		}
	}
	for _, s := range o.shown(TableOptions{}) {
		if len(s.Hours.Spans) == 0 {
			t.Errorf("%s %s has no hours", s.Group, s.Stage)
		}
	}
}
