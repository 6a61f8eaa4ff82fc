package verify

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
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

// CRPSNormal is the CRPS of a normal forecast, sd > 0, z = (y-mean)/sd:
//
//	sd (z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)).
//
// sd = 0 is taken as a point forecast. Source: Gneiting et al. 2005, Mon. Wea.
// Rev. 133, 1098-1118, eq. 5.
func CRPSNormal(y, mean, sd float64) float64 {
	if sd == 0 {
		return math.Abs(y - mean)
	}
	z := (y - mean) / sd
	return sd * (z*math.Erf(z/math.Sqrt2) + 2*distuv.UnitNormal.Prob(z) - 1/math.Sqrt(math.Pi))
}
