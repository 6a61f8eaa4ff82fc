package qc

import (
	"math"
	"slices"
	"time"

	"example.org/eclose/ingest"
)

// Climatology is the range of values to expect on each day of the year, from 1
// to 366; NaN ends mean that it is not known. It is QARTOD's seasonal matrix
// with a TIM_TST of one day.
type Climatology struct{ Days [367]Range }

// FewestYears is how many years a climatology needs; our own default.
const FewestYears = 5

// ClimatologyOf learns the ranges from past readings that may be used (see
// Usable). For each day of the year it takes the readings within 15 days of
// it, and widens the span from their 1st to their 99th percentile by half of
// itself on both sides, at least by margin. Both numbers are our own default:
// an honest record year must not be called suspect. The result is nil if fewer
// than FewestYears years are covered.
func ClimatologyOf(s ingest.Series, margin float64) *Climatology {
	byDay := make([][]float64, 367)
	years := map[int]bool{}
	for i, v := range s.Value {
		if math.IsNaN(v) || s.Flag != nil && !UsableFlag(s.Flag[i]) {
			continue
		}
		t := s.At(i)
		years[t.Year()] = true
		byDay[dayOf(t)] = append(byDay[dayOf(t)], v)
	}
	if len(years) < FewestYears {
		return nil
	}
	c := &Climatology{}
	var window []float64
	for d := 1; d <= 366; d++ {
		window = window[:0]
		for k := d - 15; k <= d+15; k++ {
			window = append(window, byDay[(k+365)%366+1]...)
		}
		if len(window) < 31*FewestYears/2 {
			c.Days[d] = Range{math.NaN(), math.NaN()}
			continue
		}
		slices.Sort(window)
		lo, hi := window[len(window)/100], window[len(window)-1-len(window)/100]
		wide := math.Max((hi-lo)/2, margin)
		c.Days[d] = Range{lo - wide, hi + wide}
	}
	return c
}

// dayOf counts as if every year had a 29 February, so that a date keeps its
// number.
func dayOf(t time.Time) int {
	d := t.YearDay()
	y := t.Year()
	leap := y%4 == 0 && (y%100 != 0 || y%400 == 0)
	if !leap && d >= 60 {
		d++
	}
	return d
}

// climatology is QARTOD test 5: outside the seasonal window is suspect; the
// manual has no fail flag for it.
func (r *run) climatology(c *Climatology) {
	if c == nil {
		return
	}
	const micros = int64(day / time.Microsecond)
	var today int64 = math.MinInt64
	var w Range
	for i, v := range r.s.Value {
		if d := floorDiv(r.s.Time[i], micros); d != today {
			today, w = d, c.Days[dayOf(r.s.At(i))]
		}
		switch {
		case math.IsNaN(w.Low) || math.IsNaN(w.High) || w == (Range{}):
		case w.holds(v):
			r.set(i, ingest.Pass, TestClimatology)
		default:
			r.set(i, ingest.Suspect, TestClimatology)
		}
	}
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
