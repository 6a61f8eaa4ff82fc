package flow

import (
	"math"
	"slices"
)

// Class is what a flow is to somebody who fishes. None of them speaks of wading.
type Class int

// The classes from the least flow up. Between is for a river of which the owner has
// named no range.
const (
	TooLow Class = iota
	Low
	Within
	Between
	High
	OutOfBanks
)

// Words is the class for people.
func (c Class) Words() string {
	return [...]string{"too low", "low", "within your fishable range", "between low and high for this gauge", "high", "out of its banks"}[c]
}

// Range is the owner's fishable flow, m3/s. The zero Range names none.
type Range struct{ LowM3s, HighM3s float64 }

// Known reports whether the owner has named a range.
func (r Range) Known() bool { return r.HighM3s > 0 }

// Marks are the flows, m3/s, between which the classes lie; NaN where unknown.
type Marks struct {
	Fishable Range
	Lowest   float64 // exceeded on 95 % of the days of record
	Lower    float64 // on 90 %
	Upper    float64 // on 10 %
	Banks    float64 // from which the river leaves its banks
}

// MarksOf reads the marks from the daily flows of a record, m3/s, of which each year
// begins on the day of the first. banks is the flow of the lowest flood stage; NaN
// where that is unknown: then the median of the years' highest days stands for it,
// which lies near the flow that fills the banks in many rivers (a flood of 1.5 to 2
// years; Leopold, Wolman and Miller 1964, Fluvial Processes in Geomorphology, cited
// from memory).
func MarksOf(flow []float64, fishable Range, banks float64) Marks {
	m := Marks{fishable, math.NaN(), math.NaN(), math.NaN(), banks}
	var all, highest []float64
	for from := 0; from < len(flow); from += 365 {
		year := flow[from:min(from+365, len(flow))]
		top, n := math.Inf(-1), 0
		for _, q := range year {
			if !unknown(q) {
				all = append(all, q)
				top = max(top, q)
				n++
			}
		}
		if n > 300 {
			highest = append(highest, top)
		}
	}
	if len(all) < minDays {
		return m
	}
	slices.Sort(all)
	m.Lowest, m.Lower, m.Upper = quantile(all, 0.05), quantile(all, 0.10), quantile(all, 0.90)
	if unknown(banks) && len(highest) >= banksYears {
		m.Banks = median(highest)
		if m.Banks <= fishable.HighM3s { // the owner knows better than this rule of thumb
			m.Banks = math.Nextafter(fishable.HighM3s, math.Inf(1))
		}
	}
	return m
}

// banksYears is the least record for the flow that fills the banks. Our own default.
const banksYears = 3

func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return quantile(s, 0.5)
}

// Of puts a flow, m3/s, in its class. Out of its banks outdoes what the owner calls
// fishable.
func (m Marks) Of(q float64) Class {
	switch r := m.Fishable; {
	case q >= m.Banks: // false for an unknown one
		return OutOfBanks
	case r.Known() && q > r.HighM3s:
		return High
	case r.Known() && q >= r.LowM3s:
		return Within
	case r.Known() && q < r.LowM3s:
		if q < m.Lowest || unknown(m.Lowest) && q < r.LowM3s/2 {
			return TooLow
		}
		return Low
	case q > m.Upper:
		return High
	case q < m.Lowest:
		return TooLow
	case q < m.Lower:
		return Low
	}
	return Between
}

// Trend says where the flow goes.
type Trend string

// The trends; steady is a change of less than a tenth. Our own default.
const (
	Rising  Trend = "rising"
	Falling Trend = "falling"
	Steady  Trend = "steady"
)

const steadyShare = 0.1

// TrendOf compares a flow with one before it, both m3/s.
func TrendOf(before, after float64) Trend {
	switch {
	case after > before*(1+steadyShare):
		return Rising
	case after < before*(1-steadyShare):
		return Falling
	}
	return Steady
}
