package engine

import (
	"math"
	"slices"
	"strings"
	"testing"

	"example.org/eclose/model/degreeday"
)

func forecast(t *testing.T, in *River) []GroupResult {
	t.Helper()
	var e Engine
	var out Result
	if err := e.Forecast(in, &out); err != nil {
		t.Fatal(err)
	}
	return out.Groups
}

func TestChancesAreChances(t *testing.T) {
	for seed := range uint64(4) {
		for k, g := range forecast(t, invent(seed, 31, 200, 20, 50)) {
			for s := range g {
				for d, p := range g[s].P {
					if !(p >= 0 && p <= 1) || !(g[s].PCalendar[d] >= 0 && g[s].PCalendar[d] <= 1) {
						t.Fatalf("group %d, stage %d, day %d: %v, %v", k, s, d, p, g[s].PCalendar[d])
					}
				}
				for _, w := range []Window{g[s].Window, g[s].WindowCalendar} {
					for _, r := range []Range{w.Start, w.Peak, w.End} {
						if r.P10 > r.P50 || r.P50 > r.P90 {
							t.Errorf("group %d: points out of order: %+v", k, r)
						}
					}
					if w.Start.P50 > w.Peak.P50 || w.Peak.P50 > w.End.P50 {
						t.Errorf("group %d: window out of order: %+v", k, w)
					}
				}
			}
		}
	}
}

func TestWithoutWeightTheForecastIsTheCalendar(t *testing.T) {
	in := invent(2, 40, 220, 6, 100)
	for k := range in.Groups {
		g := &in.Groups[k]
		g.Gate = Gate{math.Inf(-1), math.Inf(1)}
		clear(g.Weight)
	}
	for k, g := range forecast(t, in) {
		for s := range g {
			if !slices.Equal(g[s].P, g[s].PCalendar) || g[s].Window != g[s].WindowCalendar {
				t.Errorf("group %d, stage %d differs from its calendar", k, s)
			}
		}
	}
}

func TestWarmerWaterMeansEarlier(t *testing.T) {
	in := invent(3, 40, 300, 6, 100)
	for k := range in.Groups {
		in.Groups[k].Gate = Gate{math.Inf(-1), math.Inf(1)}
		for m := range in.Groups[k].Weight {
			in.Groups[k].Weight[m] = 0.6
		}
	}
	before := forecast(t, in)
	for i := range in.TempC {
		in.TempC[i] += 1.5
	}
	for k, g := range forecast(t, in) {
		if g[Emergence].Window.Peak.P50 >= before[k][Emergence].Window.Peak.P50 {
			t.Errorf("group %d: peak on day %d, before warming on day %d", k, g[Emergence].Window.Peak.P50, before[k][Emergence].Window.Peak.P50)
		}
		if g[Emergence].WindowCalendar != before[k][Emergence].WindowCalendar {
			t.Errorf("group %d: the calendar moved with the water", k)
		}
	}
}

func TestAnAdultLifeOfExactlyFiveDaysMovesEmergenceByFive(t *testing.T) {
	in := invent(4, 40, 220, 6, 100)
	for k := range in.Groups {
		in.Groups[k].LagMin, in.Groups[k].LagMax = 5, 5
	}
	for k, g := range forecast(t, in) {
		for d := 5; d < in.Days; d++ {
			if a, b := g[Emergence].P[d-5], g[EggLaying].P[d]; math.Abs(a-b) > 1e-12 {
				t.Fatalf("group %d, day %d: %v, want %v", k, d, b, a)
			}
		}
		for d := range 5 {
			if g[EggLaying].P[d] != 0 {
				t.Errorf("group %d lays on day %d", k, d)
			}
		}
	}
}

func TestWaterAfterTheSeasonChangesNothing(t *testing.T) {
	in := invent(5, 20, 300, 6, 100)
	before := forecast(t, in)
	last := 0
	for k := range before {
		for d, p := range before[k][EggLaying].P {
			if p > 0 {
				last = max(last, d)
			}
		}
		for d, p := range before[k][Emergence].P {
			if p > 0 {
				last = max(last, d)
			}
		}
	}
	if last >= in.Days-1 {
		t.Skip("the season fills the horizon")
	}
	for m := range in.Members {
		for d := last + 1; d < in.Days; d++ {
			in.TempC[m*in.Days+d] = 25
		}
	}
	near(t, forecast(t, in), before, 0)
}

func TestADateThatNeverComes(t *testing.T) {
	in := invent(6, 10, 200, 2, 50)
	for i := range in.TempC {
		in.TempC[i] = 0 // no degree-day ever
	}
	for k := range in.Groups {
		in.Groups[k].Clock.BaseC = 4
		for m := range in.Members {
			in.Groups[k].Weight[m] = 1
		}
	}
	for k, g := range forecast(t, in) {
		for s := range g {
			if g[s].Window != (Window{Range{NoDay, NoDay, NoDay}, Range{NoDay, NoDay, NoDay}, Range{NoDay, NoDay, NoDay}, 0}) {
				t.Errorf("group %d, stage %d: %+v", k, s, g[s].Window)
			}
			if slices.Max(g[s].P) != 0 {
				t.Errorf("group %d, stage %d has a chance", k, s)
			}
		}
	}
}

func TestNarrowSeasonsAndLongLags(t *testing.T) {
	in := invent(7, 15, 150, 8, 50)
	for k := range in.Groups {
		g := &in.Groups[k]
		g.LagMin, g.LagMax = k*20, k*25
		for m := range g.SpreadDays {
			g.SpreadDays[m] = []float64{0.5, 1, 3.99, 4, 40}[(k+m)%5]
		}
		for m := range g.Rate {
			g.Rate[m], g.Least = []float64{0, 100}[k%2], k%4
		}
	}
	near(t, forecast(t, in), reference(in), 1e-8)
}

func TestBadInputIsNamed(t *testing.T) {
	for want, spoil := range map[string]func(*River){
		"member 2, day 3: a water temperature": func(r *River) { r.TempC[2*r.Days+3] = float32(math.NaN()) },
		"need 3000 water temperatures":         func(r *River) { r.TempC = r.TempC[1:] },
		"group 1: 9 draws of dd50":             func(r *River) { r.Groups[1].DD50 = r.Groups[1].DD50[:9] },
		"member 4: a weight of 1.5":            func(r *River) { r.Groups[0].Weight[4] = 1.5 },
		"member 4: a spread of 0 days":         func(r *River) { r.Groups[0].SpreadDays[4] = 0 },
		"member 0: a requirement of -1":        func(r *River) { r.Groups[0].DD50[0] = -1 },
		"a calendar date of day NaN":           func(r *River) { r.Groups[0].Calendar[0] = math.NaN() },
		"a lag of 5 to 4 days":                 func(r *River) { r.Groups[0].LagMin, r.Groups[0].LagMax = 5, 4 },
		"rates of -1":                          func(r *River) { r.Groups[0].Rate[3] = -1 },
		"degree-days from 4 to 4":              func(r *River) { r.Groups[0].Clock = Clock{4, 4, 0} },
		"a gate from 9 to 8":                   func(r *River) { r.Groups[0].Gate = Gate{9, 8} },
	} {
		in := invent(1, 20, 150, 3, 50)
		spoil(in)
		var e Engine
		if err := e.Forecast(in, new(Result)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want an error with %q", err, want)
		}
	}
}

func TestKeptTwinsAreNeverTheWrongOnes(t *testing.T) {
	var e Engine
	var out Result
	a, b := invent(1, 20, 150, 5, 50), invent(2, 20, 150, 5, 50)
	c := invent(1, 20, 150, 5, 50)
	c.Groups[2].Calendar[3] += 0.5 // almost as a
	long := invent(1, 20, 180, 5, 50)
	active := invent(1, 20, 150, 5, 50)
	active.Activity = true
	for _, in := range []*River{a, b, a, c, long, active, a} {
		if err := e.Forecast(in, &out); err != nil {
			t.Fatal(err)
		}
		near(t, out.Groups, forecast(t, in), 0)
	}
	for range calendarsKept + 10 { // the store is bounded
		for m := range a.Groups[0].Calendar {
			a.Groups[0].Calendar[m] += 0.01
		}
		if err := e.Forecast(a, &out); err != nil {
			t.Fatal(err)
		}
	}
	if len(e.calendars) > calendarsKept {
		t.Errorf("%d twins kept", len(e.calendars))
	}
}

func TestARiverCostsNoMemory(t *testing.T) {
	in := invent(1, 50, 200, 10, 50)
	in.Activity = true
	var e Engine
	var out Result
	if n := testing.AllocsPerRun(5, func() {
		if err := e.Forecast(in, &out); err != nil {
			t.Fatal(err)
		}
	}); n > 0 {
		t.Errorf("%v allocations a river, want none", n)
	}
}

func TestDegreeDaysAreThoseOfTheModel(t *testing.T) {
	in := invent(9, 5, 200, 12, 50)
	var e Engine
	e.size(in)
	for _, g := range in.Groups {
		c := g.Clock
		e.degreeDays(in, c)
		for m := range in.Members {
			mean := make([]float64, in.Days-c.Start)
			for d := range mean {
				mean[d] = float64(in.TempC[m*in.Days+c.Start+d])
			}
			want := make([]float64, len(mean))
			degreeday.RunningSum(want, mean, c.BaseC, c.UpperC)
			x := e.sums[m*in.Days : (m+1)*in.Days]
			for d, sum := range want {
				before := 0.0
				if c.Start > 0 {
					before = x[c.Start-1]
				}
				if got := x[c.Start+d] - before; math.Abs(got-sum) > 1e-9 {
					t.Fatalf("clock %+v, member %d, day %d: a sum of %v, not %v", c, m, c.Start+d, got, sum)
				}
			}
			if day := slices.IndexFunc(want, func(sum float64) bool { return sum >= g.DD50[m] }); day >= 0 {
				if at := reached(x, c.Start, g.DD50[m]); int(math.Ceil(at))-1 != day+c.Start {
					t.Errorf("clock %+v, member %d: reached at %v, the model says on day %d", c, m, at, day+c.Start)
				}
			}
		}
	}
}
