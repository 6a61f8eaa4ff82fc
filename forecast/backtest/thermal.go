package backtest

import (
	"math"
	"time"
)

// Thresholds of the degree-days, fixed beforehand because data of this kind
// cannot tell one base from another: 4 °C, and 0 °C for what emerges before
// mid-May, when base 4 has gathered too little to be of use.
const (
	baseC      = 4.0
	baseEarlyC = 0.0
	earlyDay   = 135
)

// anomalyDays is how long a departure of the water from its normal lasts where
// nothing else is known of the days to come. Our own default: a week or two.
const anomalyDays = 10.0

// normalOf is the mean water of each day over the years given, smoothed over 15
// days; nil if a day has none.
func normalOf(years [][]float64) []float64 {
	const days = 366
	raw := make([]float64, days)
	n := make([]float64, days)
	for _, y := range years {
		for d, v := range y {
			if !math.IsNaN(v) {
				raw[d] += v
				n[d]++
			}
		}
	}
	out := make([]float64, days)
	for d := range out {
		var s, k float64
		for o := -7; o <= 7; o++ {
			i := (d + o + days) % days
			s, k = s+raw[i], k+n[i]
		}
		if k == 0 {
			return nil
		}
		out[d] = s / k
	}
	return out
}

// expected is a year's water as it was expected on the evening of day issue
// (from 1 January = 1): what was measured until then, gaps closed by the normal,
// and from then on the normal with the last departure dying away.
func expected(water, normal []float64, issue int) []float64 {
	out := make([]float64, len(normal))
	dep := 0.0
	keep := math.Exp(-1 / anomalyDays)
	for d := range out {
		if d < issue && d < len(water) && !math.IsNaN(water[d]) {
			dep = water[d] - normal[d]
		} else {
			dep *= keep
		}
		out[d] = normal[d] + dep
	}
	return out
}

// degreeDays is the running sum from 1 January.
func degreeDays(water []float64, base float64) []float64 {
	out := make([]float64, len(water))
	var s float64
	for d, v := range water {
		s += math.Max(0, v-base)
		out[d] = s
	}
	return out
}

// reach is the day (1 January = 1) on which the sum reaches need, linear within
// the day; the last day if it never does.
func reach(sum []float64, need float64) float64 {
	last := 0.0
	for d, s := range sum {
		if s >= need {
			return float64(d) + (need-last)/math.Max(s-last, 1e-9) + 0.5
		}
		last = s
	}
	return float64(len(sum))
}

// known tells whether a year's water is known well enough up to a day: nine days
// of ten.
func known(water []float64, day int) bool {
	n := 0
	for d := 0; d < day && d < len(water); d++ {
		if !math.IsNaN(water[d]) {
			n++
		}
	}
	return day > 0 && float64(n) >= 0.9*float64(day)
}

// isAutumn tells whether a usual median date lies in the part of the year in
// which day length rules: from September on.
func isAutumn(day float64) bool {
	return day >= float64(time.Date(2023, 9, 1, 0, 0, 0, 0, time.UTC).YearDay())
}
