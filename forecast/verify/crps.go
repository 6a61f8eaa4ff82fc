package verify

import (
	"math"
	"slices"
)

// CRPS is the continuous ranked probability score of an ensemble taken as its
// empirical distribution,
//
//	CRPS = mean |x_i - y| - (1/(2 m^2)) sum_ij |x_i - x_j|
//	     = integral (F(t) - 1{t >= y})^2 dt.
//
// In the units of y (days); range 0..inf, perfect 0, smaller is better; for one
// member it is the absolute error. NaN without members. Source: Gneiting &
// Raftery 2007, J. Am. Stat. Assoc. 102, 359-378, eqs. 20-21; the sorted form
// as in Hersbach 2000, Wea. Forecasting 15, 559-570.
func CRPS(y float64, members []float64) float64 {
	return CRPSForSize(y, members, len(members))
}

// CRPSFair takes from CRPS the penalty for being a small ensemble (divisor
// m (m-1) in place of m^2): use it to compare ensembles of unequal size, for
// example traces of 8 and of 30 seasons. Same units and orientation; NaN for
// fewer than two members; single values can be negative. Source: Ferro 2014,
// Q. J. R. Meteorol. Soc. 140, 1917-1923.
func CRPSFair(y float64, members []float64) float64 { return CRPSForSize(y, members, 0) }

// CRPSForSize estimates the CRPS that an ensemble of size members would have
// scored; size 0 stands for infinitely many (the fair score), size
// len(members) gives CRPS.
//
//	mean |x_i - y| - (1 - 1/size) sum_ij |x_i - x_j| / (2 m (m-1))
//
// Source: Ferro, Richardson & Weigel 2008, Meteorol. Appl. 15, 19-24.
func CRPSForSize(y float64, members []float64, size int) float64 {
	m := len(members)
	if m == 0 || (m == 1 && size != 1) {
		return math.NaN()
	}
	x := sorted(members)
	var mae, spread float64
	for i, v := range x {
		mae += math.Abs(v - y)
		spread += v * float64(2*i+1-m)
	}
	mae /= float64(m)
	if m == 1 {
		return mae
	}
	shrink := 1.0
	if size > 0 {
		shrink = 1 - 1/float64(size)
	}
	return mae - shrink*spread/(float64(m)*float64(m-1))
}

// CRPSWeighted is CRPS for members of unequal weight; weights are scaled to
// sum to 1. NaN without members or without weight.
func CRPSWeighted(y float64, members, weights []float64) float64 {
	sameLength("weighted CRPS", len(members), len(weights))
	order := make([]int, len(members))
	var total float64
	for i := range order {
		order[i] = i
		total += weights[i]
	}
	if !(total > 0) {
		return math.NaN()
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case members[a] < members[b]:
			return -1
		case members[a] > members[b]:
			return 1
		}
		return 0
	})
	// sum_ij w_i w_j |x_i-x_j| / 2 = sum_i w_i x_i (W_before - W_after)
	var mae, spread, before float64
	for _, i := range order {
		w := weights[i] / total
		mae += w * math.Abs(members[i]-y)
		spread += w * members[i] * (before - (1 - before - w))
		before += w
	}
	return mae - spread
}

// CRPSUntil is CRPS with the integral stopped at the horizon: both the outcome
// and the members later than it count as the horizon. It scores a season that
// was watched only up to a day; pass +Inf as y when nothing had come by then.
// Same units and orientation as CRPS.
func CRPSUntil(y float64, members []float64, horizon float64) float64 {
	x := each(len(members), func(i int) float64 { return min(members[i], horizon) })
	return CRPS(min(y, horizon), x)
}

// HersbachDecomposition splits the mean CRPS of ensembles of one size,
// CRPS = Reliability + Potential. Both in units of y and better when smaller;
// Reliability is 0 when outcomes fall into the gaps between sorted members as
// often as they should. Source: Hersbach 2000, Wea. Forecasting 15, 559-570,
// eqs. 25-37.
type HersbachDecomposition struct {
	CRPS        float64 `json:"crps"`
	Reliability float64 `json:"reliability"`
	Potential   float64 `json:"potential"`
}

// Hersbach decomposes the mean CRPS over cases whose ensembles have equal size.
func Hersbach(y []float64, members [][]float64) HersbachDecomposition {
	sameLength("CRPS decomposition", len(members), len(y))
	if len(y) == 0 {
		nan := math.NaN()
		return HersbachDecomposition{nan, nan, nan}
	}
	m := len(members[0])
	alpha, beta := make([]float64, m+1), make([]float64, m+1)
	var below, above float64 // how often the outcome lay outside
	for k, o := range y {
		sameLength("CRPS decomposition: size of an ensemble", len(members[k]), m)
		x := sorted(members[k])
		for i := 1; i < m; i++ {
			lo, hi := x[i-1], x[i]
			c := min(max(o, lo), hi)
			alpha[i] += c - lo
			beta[i] += hi - c
		}
		if o < x[0] {
			beta[0] += x[0] - o
			below++
		}
		if o > x[m-1] {
			alpha[m] += o - x[m-1]
			above++
		}
	}
	n := float64(len(y))
	var d HersbachDecomposition
	for i := range alpha {
		a, b := alpha[i]/n, beta[i]/n
		p := float64(i) / float64(m)
		var width, o float64 // mean width of the gap, observed share below it
		switch {
		case i == 0 && below > 0:
			o = below / n
			width = b / o
		case i == m && above > 0:
			o = 1 - above/n
			width = a / (1 - o)
		case i == 0 || i == m || a+b == 0:
			continue
		default:
			width = a + b
			o = b / width
		}
		d.Reliability += width * (o - p) * (o - p)
		d.Potential += width * o * (1 - o)
	}
	d.CRPS = d.Reliability + d.Potential
	return d
}
