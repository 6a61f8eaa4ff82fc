package alert

import (
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/civil"
)

// A date that cannot be read must not pass for one that did not move.
func TestDecideRefusesADateThatCannotBeRead(t *testing.T) {
	issued := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	today := civil.DateOf(issued)
	from := today + 5
	r := rule{threshold: 0.5, horizon: 14}
	was := sent{open: true, at: issued.AddDate(0, 0, -10), from: from, to: from + 20}
	stage := func(start string) *Stage {
		return &Stage{Group: "g", Stage: "emergence", From: start, To: (from + 20).String(), Days: forecast.DaysOf([]forecast.Day{{Date: today + 6, P: 0.9}})}
	}
	if kind, is, err := r.decide(was, stage((from + movedDays + 1).String()), issued, today); err != nil || kind != KindMoved || is.from != from+movedDays+1 {
		t.Fatalf("a window moved by %d days: kind %q, from %v, error %v", movedDays+1, kind, is.from, err)
	}
	if kind, _, err := r.decide(was, stage((from + movedDays).String()), issued, today); err != nil || kind != "" {
		t.Fatalf("a window moved by %d days: kind %q, error %v", movedDays, kind, err)
	}
	for _, bad := range []string{"2026-06-31", "6 June", "0"} {
		if kind, is, err := r.decide(was, stage(bad), issued, today); err == nil || kind != "" || is != was {
			t.Errorf("start %q: kind %q, error %v", bad, kind, err)
		}
	}
}
