package engine

import (
	"slices"
	"testing"
)

// Chances from a day on are those of a run over all days, and windows and the calendar
// do not know of it.
func TestChancesFromADayOnAreThoseOfAllDays(t *testing.T) {
	const from = 120
	all := invent(4, 30, 220, 12, 100)
	part := *all
	part.From = from
	want, got := forecast(t, all), forecast(t, &part)
	before, onDay := 0.0, 0.0
	for k := range want {
		for s := range want[k] {
			a, b := want[k][s], got[k][s]
			for d := range a.P {
				switch {
				case d < from:
					before += a.P[d]
					if b.P[d] != 0 {
						t.Fatalf("group %d, stage %d, day %d: a chance of %v before day %d", k, s, d, b.P[d], from)
					}
				case a.P[d] != b.P[d]:
					t.Fatalf("group %d, stage %d, day %d: a chance of %v, over all days %v", k, s, d, b.P[d], a.P[d])
				case d == from:
					onDay += a.P[d]
				}
			}
			if a.Window != b.Window || a.WindowCalendar != b.WindowCalendar || !slices.Equal(a.PCalendar, b.PCalendar) {
				t.Errorf("group %d, stage %d: window or calendar differ", k, s)
			}
		}
	}
	if before < 1 || onDay == 0 {
		t.Errorf("nothing is at stake: chances of %v before, %v on the day", before, onDay)
	}
	part.From = -1
	if err := part.check(); err == nil {
		t.Error("chances from the day before the first are not refused")
	}
}
