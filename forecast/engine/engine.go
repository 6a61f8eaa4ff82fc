package engine

import (
	"fmt"
	"math"

	"example.org/eclose/model/phenology"
)

// Engine does one river after another in buffers of its own. It is not for use
// by two goroutines at once; make one for each (see Batch).
type Engine struct {
	sums      []float64 // degree-days from day 0 between the bounds at hand, [m*days+d]
	done      []bool    // groups whose clock has been served
	run       []float64 // running sum of one member's activity, padded on both sides
	when      [stages][3]histogram
	share     [stages]shares
	keep      bool
	calendars map[uint64]*calendarEntry
	seasons   []season // by member, where only some days are asked
	room      []float64
}

// share of the season's activity that has passed at the start, peak and end of
// a window.
var passed = [3]float64{0.1, 0.5, 0.9}

// leastSeason is the share of a season that must fall within the horizon (and
// pass the gate) for a member to have a window. Our own default.
const leastSeason = 0.05

// Forecast computes one river into out.
func (e *Engine) Forecast(in *River, out *Result) error {
	if err := in.check(); err != nil {
		return fmt.Errorf("running the engine: %w", err)
	}
	out.size(in)
	e.size(in)
	for k := range in.Groups {
		if e.done[k] {
			continue
		}
		clock := in.Groups[k].Clock
		e.degreeDays(in, clock)
		for j := k; j < len(in.Groups); j++ {
			if c := in.Groups[j].Clock; !e.done[j] && c.BaseC == clock.BaseC && c.UpperC == clock.UpperC {
				e.done[j] = true
				if in.On != nil {
					e.groupOn(in, &in.Groups[j], &out.Groups[j])
				} else {
					e.group(in, &in.Groups[j], &out.Groups[j])
				}
			}
		}
	}
	return nil
}

func (e *Engine) size(in *River) {
	e.sums = grow(e.sums, len(in.TempC))
	e.done = grow(e.done, len(in.Groups))
	clear(e.done)
	e.run = grow(e.run, in.Days+2*(MaxLagDays+2))
	e.keep = in.Activity
}

func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// degreeDays fills sums for the bounds of a clock, whatever its start.
func (e *Engine) degreeDays(in *River, c Clock) {
	base, upper := c.BaseC, c.UpperC
	for m := range in.Members {
		t := in.TempC[m*in.Days : (m+1)*in.Days]
		x := e.sums[m*in.Days : (m+1)*in.Days]
		var sum float64
		for d := 0; d < len(t) && d < len(x); d++ {
			// Plain comparisons: min and max would look for NaN, which check has.
			c := float64(t[d])
			if c > upper {
				c = upper
			}
			if c > base {
				sum += c - base
			}
			x[d] = sum
		}
	}
}

// group runs all members of one group, with and without temperature.
func (e *Engine) group(in *River, g *Group, out *GroupResult) {
	days := in.Days
	var p [stages][]float64
	for s := range p {
		p[s] = out[s].P
	}
	e.begin(in)
	for m := range in.Members {
		e.addDailyProbabilities(g, in.TempC[m*days:(m+1)*days], m, e.median(in, g, m), !g.Gate.always(), &p)
	}
	for s := range p {
		mean(p[s], in.Members)
		out[s].Window = e.window(Stage(s))
		if e.keep {
			e.share[s].points(&out[s].Activity)
		}
	}
	e.fillCalendar(in, g, out)
}

// median is the day by which half of a member's emergence has passed.
func (e *Engine) median(in *River, g *Group, m int) float64 {
	w, t50 := g.Weight[m], g.Calendar[m]
	if w > 0 {
		t50 = w*reached(e.sums[m*in.Days:(m+1)*in.Days], g.Clock.Start, g.DD50[m]) + (1-w)*t50
	}
	return t50
}

// begin empties what members add to.
func (e *Engine) begin(in *River) {
	for s := range e.when {
		for k := range e.when[s] {
			e.when[s][k].size(in.Days)
		}
		if e.keep {
			e.share[s].begin(in.Members, in.Days)
		}
	}
}

func mean(p []float64, members int) {
	n := float64(members)
	for d := range p {
		p[d] /= n
	}
}

// reached is the time at which the running sums x, less what came before the day start,
// reach need, linear within a day, going on at the last day's rate beyond the horizon.
func reached(x []float64, start int, need float64) float64 {
	start = max(start, 0)
	if start >= len(x) {
		return outOfReach
	}
	passed := 0.0
	if start > 0 {
		passed = x[start-1]
		need += passed
	}
	// Binary search for the first day at or above need.
	lo, hi := start, len(x)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if x[mid] < need {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	before := passed
	if lo > start {
		before = x[lo-1]
	}
	if lo < len(x) {
		return float64(lo) + (need-before)/(x[lo]-before)
	}
	rate := before
	if lo-2 >= start {
		rate -= x[lo-2]
	} else {
		rate -= passed
	}
	if rate <= 0 {
		return outOfReach
	}
	return min(float64(lo)+(need-before)/rate, outOfReach)
}

// outOfReach stands for a date that does not come.
const outOfReach = 1e6

// reach is the days outside of which nothing of a member's season is evaluated: z > -Reach
// at the end of day lo and z < Reach at the start of day hi-1.
func (g *Group) reach(m int, t50 float64, days int) (lo, hi int) {
	sigma := g.SpreadDays[m]
	return clampDay(t50-Reach*sigma-1, days), clampDay(t50+Reach*sigma, days)
}

// ungated fills share with the shares of a season about t50 on the days from lo on, whatever
// the gate.
func ungated(share []float64, lo int, t50, sigma float64) {
	if sigma >= smoothSpread {
		smooth(share, (float64(lo)-t50)/sigma, 1/sigma)
	} else {
		steep(share, (float64(lo)-t50)/sigma, 1/sigma)
	}
}

// addDailyProbabilities adds member m to the histograms and to the sums of chances.
func (e *Engine) addDailyProbabilities(g *Group, temp []float32, m int, t50 float64, gated bool, p *[stages][]float64) {
	days := len(temp)
	lo, hi := g.reach(m, t50, days)
	if hi <= lo {
		return
	}
	pad := g.LagMax + 1
	run := e.run[:pad+(hi-lo)+pad]
	clear(run[:pad])
	share := run[pad : pad+hi-lo]
	ungated(share, lo, t50, g.SpreadDays[m])
	if gated {
		gate := g.Gate
		for i, t := range temp[lo:hi] {
			if t := float64(t); t < gate.MinC || t > gate.MaxC {
				share[i] *= gate.Open(t)
			}
		}
	}
	sum := e.chances(p[Emergence][lo:hi:hi], share, g.Rate[m], g.Least)
	tail := run[pad+hi-lo:]
	for i := range tail {
		tail[i] = sum
	}
	if sum >= leastSeason {
		for k, q := range passed {
			e.when[Emergence][k].add(lo + firstAtLeast(share, q*sum))
		}
	}
	if e.keep {
		e.share[Emergence].put(m, lo, share)
	}
	e.addEggLaying(g, run, m, lo, days, p[EggLaying])
}

// chances adds a member's chances to out and turns its shares of the season into their
// running sums, of which it returns the last.
func (e *Engine) chances(out, share []float64, rate float64, least int) (sum float64) {
	if least > 1 {
		for i, a := range share {
			out[i] += phenology.AtLeast(rate*a, least)
			sum += a
			share[i] = sum
		}
		return sum
	}
	out = out[:len(share)]
	for i, a := range share {
		out[i] += atLeastOne(rate * a)
		sum += a
		share[i] = sum
	}
	return sum
}

// addEggLaying adds the member's egg-laying, given the running sum of emergence from
// day lo on with LagMax+1 days of padding before and after.
func (e *Engine) addEggLaying(g *Group, run []float64, m, lo, days int, p []float64) {
	pad := g.LagMax + 1
	first := lo + g.LagMin
	last := min(lo+len(run)-2*pad+g.LagMax, days) // exclusive
	if last <= first {
		return
	}
	n := last - first
	// l(d) = (S(d-LagMin) - S(d-LagMax-1)) / width; run[pad+i] is S(lo+i).
	late := run[pad:][:n]
	early := run[pad+g.LagMin-g.LagMax-1:][:n]
	inv := 1 / float64(g.LagMax-g.LagMin+1)
	for i, l := range late {
		early[i] = (l - early[i]) * inv // read for the last time just now: room for the share
	}
	sum := e.chances(p[first:last:last], early, g.RateEggs[m], g.Least)
	if sum >= leastSeason {
		for k, q := range passed {
			e.when[EggLaying][k].add(first + firstAtLeast(early, q*sum))
		}
	}
	if e.keep {
		e.share[EggLaying].put(m, first, early)
	}
}

func clampDay(t float64, days int) int {
	return int(min(max(math.Ceil(t), 0), float64(days)))
}

// firstAtLeast is the index of the first of rising values that is >= v, the
// last index if rounding leaves none.
func firstAtLeast(x []float64, v float64) int {
	// One condition a step and nothing that depends on it but an addition: a processor
	// cannot guess such branches.
	first := 0
	for n := len(x); n > 1; {
		half := n >> 1
		if x[first+half-1] < v {
			first += half
		}
		n -= half
	}
	if first < len(x)-1 && x[first] < v {
		first++
	}
	return first
}

func (e *Engine) window(s Stage) Window {
	h := &e.when[s]
	return Window{Start: h[0].points(), Peak: h[1].points(), End: h[2].points(), Seen: h[1].n}
}
