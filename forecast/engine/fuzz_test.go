package engine

import (
	"math"
	"testing"
)

// FuzzAgainstReference bends an invented river out of shape and compares with
// the word-by-word computation; what the engine refuses, it must refuse without
// a panic.
func FuzzAgainstReference(f *testing.F) {
	f.Add(uint64(1), 0.5, 5.0, 140.0, 300.0, 3, 9, 30.0, 6.0, 18.0, 0)
	f.Add(uint64(2), 1.0, 0.5, -40.0, 1e-3, 0, 0, 31.0, -300.0, 300.0, 59)
	f.Add(uint64(3), 0.0, 80.0, 400.0, 1e9, 183, 183, 0.0, 10.0, 10.0, -5)
	f.Fuzz(func(t *testing.T, seed uint64, weight, spread, calendar, dd50 float64, lag, lagMax int, rate, gateMin, gateMax float64, start int) {
		in := invent(seed, 7, 90, 2, 30)
		g := &in.Groups[0]
		for m := range in.Members {
			g.Weight[m], g.SpreadDays[m] = weight, spread*(1+float64(m)/20)
			g.Rate[m], g.RateEggs[m] = rate, rate/2
			g.Calendar[m], g.DD50[m] = calendar+float64(m), dd50*(1+float64(m)/10)
		}
		g.LagMin, g.LagMax = lag, lagMax
		g.Gate, g.Clock.Start = Gate{gateMin, gateMax}, start
		var e Engine
		var out Result
		if err := e.Forecast(in, &out); err != nil {
			return
		}
		// The rate multiplies what lies beyond Reach.
		tol := 1e-10 * (10 + rate)
		want := reference(in)
		for k := range want {
			for s := range want[k] {
				for d := range in.Days {
					if a, b := out.Groups[k][s].P[d], want[k][s].P[d]; !(math.Abs(a-b) <= tol) {
						t.Fatalf("group %d, stage %d, day %d: %v, want %v", k, s, d, a, b)
					}
					if a, b := out.Groups[k][s].PCalendar[d], want[k][s].PCalendar[d]; !(math.Abs(a-b) <= tol) {
						t.Fatalf("group %d, stage %d, day %d, calendar: %v, want %v", k, s, d, a, b)
					}
				}
			}
		}
	})
}
