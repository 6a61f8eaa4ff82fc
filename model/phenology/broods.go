package phenology

import (
	"math"

	"example.org/eclose/model/insects"
)

// Broods are the generations of one insect within a year, in order. The
// catalogue keeps each as a group with a window of its own, because one curve
// through two peaks has its middle where nothing flies.
type Broods []Params

// BroodsOf are the broods under a parent of the catalogue that have a window in
// a region, by date.
func BroodsOf(c *insects.Catalogue, parent string, r insects.Region) Broods {
	var b Broods
	for _, g := range c.Broods(parent) {
		if p, ok := FromGroup(g, r); ok {
			i := len(b)
			for i > 0 && b[i-1].MedianDOY > p.MedianDOY {
				i--
			}
			b = append(b[:i], append(Broods{p}, b[i:]...)...)
		}
	}
	return b
}

// Activity is that of all broods together, each as large as the others, as a
// share of the whole year's.
func (b Broods) Activity(waterC []float64) (emergence, eggs []float64) {
	emergence, eggs = make([]float64, len(waterC)), make([]float64, len(waterC))
	for _, p := range b {
		e, l := p.Activity(waterC)
		for d := range e {
			emergence[d] += e[d] / float64(len(b))
			eggs[d] += l[d] / float64(len(b))
		}
	}
	return emergence, eggs
}

// Nearest is the brood that an observation of a stage on a day (from 1 January, 0
// the first) belongs to: the one whose middle it lies nearest to, in spreads.
// Without water the calendar tells the middles.
func (b Broods) Nearest(st Stage, day int, waterC []float64) int {
	best, at := math.Inf(1), -1
	for i, p := range b {
		if len(waterC) == 0 {
			p = p.CalendarOnly()
		}
		w := Window{Peak: p.Median(waterC)}
		if st == EggLaying {
			w = p.laying(w)
		}
		off := math.Mod(math.Abs(float64(day)-w.Peak), 365)
		if z := math.Min(off, 365-off) / p.SpreadDays; z < best {
			best, at = z, i
		}
	}
	return at
}

// Next is the brood that follows p after a generation of so many degree-days, on
// a calendar interval later by days.
func (p Params) Next(generation, days float64) Params {
	if p.DD50 > 0 {
		// The brood's own uncertainty stays the same in degree-days.
		p.DD50CV *= p.DD50 / (p.DD50 + generation)
		p.YearCV *= p.DD50 / (p.DD50 + generation)
		p.DD50 += generation
	}
	p.MedianDOY += days
	return p
}
