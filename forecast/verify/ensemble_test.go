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

func sorted(x []float64) []float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return s
}

// Quantile is the q-quantile of values that need not be sorted, by linear
// interpolation of the order statistics (type 7 of Hyndman & Fan 1996, Am.
// Stat. 50, 361-365). NaN for no values.
func Quantile(x []float64, q float64) float64 { return QuantileOfSorted(sorted(x), q) }
