package engine

import (
	"math"
	"slices"
	"testing"
)

// Chances on days asked are those of a run over all days, and windows and the calendar do
// not know of the asking. A stage that is over by the first day has all days from that on.
func TestChancesOnDaysAskedAreThoseOfAllDays(t *testing.T) {
	all := invent(4, 30, 220, 12, 100)
	for k := range all.Groups { // narrow and truncated seasons, closed gates, long lags, several records
		g := &all.Groups[k]
		switch k {
		case 1:
			g.Gate = Gate{MinC: 9, MaxC: 11}
		case 3:
			g.LagMin, g.LagMax = 20, 70
		case 4:
			g.Least = 3
		case 6:
			g.SpreadDays = slices.Repeat([]float64{1}, all.Members)
		case 7:
			g.SpreadDays = slices.Repeat([]float64{60}, all.Members)
		}
	}
	for _, on := range [][]int{{0, 7, 60}, {90, 97, 104, 150}, {120, 121}, {160, 200, 219}, {215}, {}} {
		compareAsked(t, all, on)
	}
}

func compareAsked(t *testing.T, all *River, on []int) {
	part := *all
	part.On = on
	want, got := forecast(t, all), forecast(t, &part)
	asked, after, empty := 0.0, 0.0, 0
	for k := range want {
		for s := range want[k] {
			a, b := want[k][s], got[k][s]
			if a.Window != b.Window || a.WindowCalendar != b.WindowCalendar || !slices.Equal(a.PCalendar, b.PCalendar) {
				t.Errorf("asked %v, group %d, stage %d: window or calendar differ: %v, %v", on, k, s, a.Window, b.Window)
			}
			over := len(on) > 0 && a.Window.End.P90 != NoDay && a.Window.End.P90 < on[0]
			for d := range a.P {
				p := 0.0
				switch {
				case slices.Contains(on, d):
					p = a.P[d]
					asked += p
				case over && d > on[0]:
					p = a.P[d]
					after += p
				case a.P[d] > 0:
					empty++
				}
				if math.Abs(b.P[d]-p) > 1e-9 {
					t.Fatalf("asked %v, group %d, stage %d, day %d: a chance of %v, not %v", on, k, s, d, b.P[d], p)
				}
			}
		}
	}
	if empty == 0 || len(on) > 0 && on[0] > 0 && on[0] < 215 && asked < 0.1 || len(on) > 0 && on[0] == 160 && after == 0 {
		t.Errorf("asked %v: nothing is at stake: %v asked, %v after the seasons, %d days left out", on, asked, after, empty)
	}
}

func TestDaysThatCannotBeAskedAreRefused(t *testing.T) {
	for _, on := range [][]int{{-1}, {40}, {3, 3}, {5, 4}} {
		r := invent(1, 3, 40, 2, 10)
		r.On = on
		if r.check() == nil {
			t.Errorf("days %v are not refused", on)
		}
	}
	r := invent(1, 3, 40, 2, 10)
	r.On, r.Activity = []int{3}, true
	if r.check() == nil {
		t.Error("the activity of a day asked is not refused")
	}
}
