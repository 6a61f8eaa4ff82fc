package flow

import (
	"math"
	"math/rand/v2"

	"example.org/eclose/model/elementary"
)

// A trait is what makes two days alike: the state of the river in units of its own
// spread.
type trait [5]float64

func (s *state) trait() trait {
	return trait{s.x, s.x - s.mean5, s.mean5 - s.mean25, s.x - s.before, s.mean25}
}

// learnTraits keeps the traits of all days of the fit and their spread.
func (f *fitting) learnTraits() {
	m := f.m
	m.traits = f.traits
	m.learnPast(f.in, f.logs)
	var sum, square trait
	n := 0.0
	for i, t := range m.traits {
		if f.fresh[i] {
			for k, v := range t {
				sum[k] += v
				square[k] += v * v
			}
			n++
		}
	}
	for k := range sum {
		mu := sum[k] / n
		m.traitSD[k] = math.Sqrt(max(square[k]/n-mu*mu, 1e-6))
	}
}

// traitWeight is what each trait counts. seasonWithin, days, is how far from a date a
// day of another year may lie to be alike, seasonScale what counts as much as a standard
// deviation of a trait. Our own defaults.
var traitWeight = trait{1, 1, 1, 1, 0.5}

const seasonWithin, seasonScale = 60, 40.0

// nearest is how many of the days of that season in all years count as alike; chosen on
// the gauges of the pool (RESULTS.md).
const nearest = 100

// analogues finds days of the past whose errors a future may repeat: weights by day of
// the fit, zero where a day is not of the season of the day.
type analogues struct {
	m      *Model
	weight []float64
}

func (m *Model) analogues(now *state, day int) analogues {
	t := now.trait()
	a := analogues{m, make([]float64, len(m.traits))}
	all, at := make([]float64, 0, len(m.traits)/2), make([]int, 0, len(m.traits)/2)
	for i := range m.traits {
		quarters := m.quartersFrom(day, i)
		if quarters > 4*seasonWithin || i >= len(m.errors) || unknown(m.errors[i]) {
			continue
		}
		gap := float64(quarters) / 4
		x := (gap / seasonScale) * (gap / seasonScale)
		for k, v := range m.traits[i] {
			e := (v - t[k]) / m.traitSD[k] * traitWeight[k]
			x += e * e
		}
		all, at = append(all, x), append(at, i)
	}
	if len(all) == 0 {
		return a
	}
	for k, i := range at {
		a.weight[i] = all[k]
	}
	h := elementary.KthSmallest(all, min(nearest, len(all)-1)) + 1e-9
	for _, i := range at {
		a.weight[i] = elementary.Exp(-a.weight[i] / h)
	}
	return a
}

// quartersFrom returns how far the i-th day of the fit lies from a date in the year, in
// quarters of a day: in them a year is whole.
func (m *Model) quartersFrom(day, i int) int {
	gap := mod(4*(m.errorDay0+i-day)+fourYears/2, fourYears) - fourYears/2
	return max(gap, -gap)
}

// draw picks a day like now within seasonWithin of a day.
func (a *analogues) draw(like int, rng *rand.Rand) int {
	from, to := max(0, like-a.m.errorDay0-seasonWithin), min(len(a.weight), like-a.m.errorDay0+seasonWithin+1)
	sum := 0.0
	for i := from; i < to; i++ {
		sum += a.weight[i]
	}
	if sum <= 0 {
		return like
	}
	u := rng.Float64() * sum
	for i := from; i < to; i++ {
		if u -= a.weight[i]; u <= 0 {
			return a.m.errorDay0 + i
		}
	}
	return like
}

// keptDays is how far ahead the damping of an anomaly is fitted.
const keptDays = 60

// learnPast keeps the anomalies of the fit and how they die away.
func (m *Model) learnPast(in Input, logs []float64) {
	m.past = make([]float64, len(logs))
	for i, y := range logs {
		m.past[i] = y - m.climate.at(in.Day0+i)
	}
	for d := range m.keeps {
		xy, xx := 0.0, 1e-9
		for i := range len(m.past) - d - 1 {
			if a, b := m.past[i], m.past[i+d+1]; !unknown(a) && !unknown(b) {
				xy += a * b
				xx += a * a
			}
		}
		m.keeps[d] = min(max(xy/xx, 0), 1)
	}
}
