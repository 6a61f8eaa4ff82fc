package engine

import "example.org/eclose/model/phenology"

// A backtest reads a forecast on a handful of days. Windows need the course of every
// member's season, but no chance: those of the days asked come from the steps that the
// running sums take on these days.

// season is what has passed of a member's emergence by the end of each day from lo on,
// with LagMax+1 days of padding before and after; no days where there is none.
type season struct {
	lo  int
	run []float64
}

// groupOn is group for a river of which few days are asked.
func (e *Engine) groupOn(in *River, g *Group, out *GroupResult) {
	pad := g.LagMax + 1
	stride := in.Days + 2*pad
	e.seasons, e.room = grow(e.seasons, in.Members), grow(e.room, in.Members*stride)
	e.begin(in)
	for m := range in.Members {
		s := &e.seasons[m]
		*s = season{run: e.room[m*stride : (m+1)*stride]}
		if s.fill(g, in.TempC[m*in.Days:(m+1)*in.Days], m, e.median(in, g, m)) {
			e.addDates(g, s, in.Days)
		}
	}
	for s := range out {
		out[s].Window = e.window(Stage(s))
		e.chancesOn(in, g, Stage(s), &out[s])
	}
	e.fillCalendar(in, g, out)
}

// fill works a member's season out; false if it has none.
func (s *season) fill(g *Group, temp []float32, m int, t50 float64) bool {
	lo, hi := g.reach(m, t50, len(temp))
	lo, hi = g.Gate.ajar(temp, lo, hi)
	if hi <= lo {
		s.run = nil
		return false
	}
	pad := g.LagMax + 1
	s.lo, s.run = lo, s.run[:pad+(hi-lo)+pad]
	clear(s.run[:pad])
	sum := passedBy(s.run[pad:pad+hi-lo], temp[lo:hi], (float64(lo)-t50)/g.SpreadDays[m], 1/g.SpreadDays[m], g.Gate)
	tail := s.run[pad+hi-lo:]
	for i := range tail {
		tail[i] = sum
	}
	return true
}

// passedBy fills passed with the running sums of a season's shares under a gate and returns
// the last; z is the start of the first day in standard deviations, h the length of a day.
func passedBy(passed []float64, temp []float32, z, h float64, gate Gate) (sum float64) {
	if 1/h >= smoothSpread {
		return smoothPassed(passed, z, h, gate, temp)
	}
	steep(passed, z, h)
	for i, t := range temp {
		sum += passed[i] * gate.Open(float64(t))
		passed[i] = sum
	}
	return sum
}

// ajar leaves out the days at both ends on which the gate is closed.
func (g Gate) ajar(temp []float32, lo, hi int) (from, to int) {
	closed := func(d int) bool {
		t := float64(temp[d])
		return t <= g.MinC-GateRampC || t >= g.MaxC+GateRampC
	}
	for lo < hi && closed(lo) {
		lo++
	}
	for lo < hi && closed(hi-1) {
		hi--
	}
	return lo, hi
}

// addDates adds the dates of a member's season to the histograms.
func (e *Engine) addDates(g *Group, s *season, days int) {
	pad := g.LagMax + 1
	share := s.run[pad : len(s.run)-pad]
	if sum := share[len(share)-1]; sum >= leastSeason {
		for k, q := range passed {
			e.when[Emergence][k].add(s.lo + firstAtLeast(share, q*sum))
		}
	}
	first, last := s.lo+g.LagMin, min(s.lo+len(share)+g.LagMax, days) // exclusive
	if last <= first {
		return
	}
	// What has passed of egg-laying by a day is the mean of what had passed of emergence
	// LagMin to LagMax days before; laid is the sum of these.
	width := float64(g.LagMax - g.LagMin + 1)
	laid := func(d int) (sum float64) {
		for _, x := range s.run[d-s.lo+1 : d-s.lo+2+g.LagMax-g.LagMin] {
			sum += x
		}
		return sum
	}
	sum := laid(last - 1)
	if sum < leastSeason*width {
		return
	}
	for k, q := range passed {
		// No larger share has been laid by a day than had emerged LagMin days before, and no
		// smaller one than LagMax days before: the walk is short.
		d := first + firstAtLeast(share, q*sum/width)
		for by := laid(d); by < q*sum && d < last-1; d++ {
			by += s.run[d+1-s.lo+1+g.LagMax-g.LagMin] - s.run[d-s.lo+1]
		}
		e.when[EggLaying][k].add(d)
	}
}

// chancesOn fills the chances of a stage on the days asked.
func (e *Engine) chancesOn(in *River, g *Group, stage Stage, out *StageResult) {
	over := len(in.On) > 0 && out.Window.End.P90 != NoDay && out.Window.End.P90 < in.On[0]
	for m := range e.seasons {
		s := &e.seasons[m]
		if s.run == nil {
			continue
		}
		if !over {
			for _, d := range in.On {
				out.P[d] += g.chance(s, stage, m, d)
			}
			continue
		}
		last := min(s.lo+len(s.run)-g.LagMax-2, in.Days-1) // after it nothing comes any more
		for d := in.On[0]; d <= last; d++ {
			out.P[d] += g.chance(s, stage, m, d)
		}
	}
	mean(out.P, in.Members)
}

// chance is a member's chance of a stage on a day.
func (g *Group) chance(s *season, stage Stage, m, d int) float64 {
	pad := g.LagMax + 1
	by := func(d int) float64 { return s.run[min(max(d-s.lo+pad, 0), len(s.run)-1)] }
	rate, share := g.Rate[m], 0.0
	if stage == Emergence {
		share = by(d) - by(d-1)
	} else {
		rate, share = g.RateEggs[m], (by(d-g.LagMin)-by(d-g.LagMax-1))/float64(g.LagMax-g.LagMin+1)
	}
	if g.Least > 1 {
		return phenology.AtLeast(rate*share, g.Least)
	}
	return atLeastOne(rate * share)
}
