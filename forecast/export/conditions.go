package export

import (
	"math"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

// Conditions are what is known when a file is written and the outlook itself does not
// tell. The zero value knows nothing: no day is observed and each caution is
// unknown.
type Conditions struct {
	Caution wading.Caution // of the river at its At
	// Known holds the readings since the issue; see forecast.Gather.
	Known forecast.Record
}

func (b Conditions) water(d forecast.Date) float64 { return on(b.Known.Day0, b.Known.Water, 100, d) }
func (b Conditions) flow(d forecast.Date) float64  { return on(b.Known.Day0, b.Known.Flow, 1000, d) }

// on returns the value of a day, in steps of 1/steps; NaN where there is none.
func on(day0 forecast.Date, values []float64, steps float64, d forecast.Date) float64 {
	if i := int(d - day0); i >= 0 && i < len(values) {
		return math.Round(values[i]*steps) / steps
	}
	return math.NaN()
}

// caution returns the level of a day, when the gauge behind it was read and the moment
// until which it holds. Only the day on which it was judged has one: of any other day
// nothing is known.
func (b Conditions) caution(d forecast.Date) (level string, read, until time.Time) {
	c := b.Caution
	if c.At.IsZero() || c.Zone == nil || forecast.DateOf(c.At.In(c.Zone)) != d {
		return levelCode(wading.Caution{}), time.Time{}, time.Time{}
	}
	for _, x := range []wading.Reading{c.Stage, c.Flow} { // the flow's, where there is one
		if x.Present {
			read = micro(c.At.Add(-x.Age))
		}
	}
	if !c.Until.After(c.At) {
		c.Known = false
		return levelCode(c), read, time.Time{}
	}
	return levelCode(c), read, micro(c.Until)
}
