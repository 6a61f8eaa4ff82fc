package verify

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

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
