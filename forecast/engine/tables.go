package engine

import "math"

// Reach is how many standard deviations around the median are evaluated; what
// lies beyond holds 2 Phi(-Reach) = 8e-11 of a season.
const Reach = 6.5

// phiStep is the distance of the nodes of the normal table.
const (
	phiPerUnit = 64
	phiStep    = 1.0 / phiPerUnit
	phiNodes   = 1024 // covers |z| < 8; a power of two keeps bounds checks out
)

// node holds the Taylor coefficients of Phi at one z.
type node struct{ c0, c1, c2, c3, c4 float64 }

var phiTable = func() (t [phiNodes]node) {
	for i := range t {
		z := (float64(i) - phiNodes/2) * phiStep
		f := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
		// The derivatives of Phi are f, -z f, (z^2-1) f, (3z - z^3) f.
		t[i] = node{0.5 * math.Erfc(-z/math.Sqrt2), f, -z * f / 2, (z*z - 1) * f / 6, (3*z - z*z*z) * f / 24}
	}
	return t
}()

// phi is the standard normal distribution function for |z| < 8 - phiStep: the
// Taylor series about the nearest node, to the fourth order, off by less than
// max|5th derivative| (1/128)^5 / 120 < 3e-13. The compiler will not inline it,
// so the loop that cares takes its two steps itself.
func phi(z float64) float64 {
	i := nearest(z)
	return phiTable[i].cdf(z - float64(i-phiNodes/2)*phiStep)
}

func nearest(z float64) int { return int(z*phiPerUnit+(phiNodes/2+0.5)) & (phiNodes - 1) }

func (n *node) cdf(d float64) float64 {
	return n.c0 + d*(n.c1+d*(n.c2+d*(n.c3+d*n.c4)))
}

const (
	expPerUnit = 32
	expNodes   = 4096 // covers 0 <= y < 128
	expMax     = expNodes/expPerUnit - 1
	smallY     = 1.0 / 128
)

var expTable = func() (t [expNodes]float64) {
	for i := range t {
		t[i] = math.Exp(-float64(i) / expPerUnit)
	}
	return t
}()

// atLeastOne is 1 - exp(-y), the chance of at least one record when y are expected,
// y >= 0: the Taylor series about the nearest node of the table, or
// about 0 when y is small, as on most days. Off by less than 1e-11.
func atLeastOne(y float64) float64 {
	if y < smallY {
		return y * (1 - y*(1.0/2-y*(1.0/6-y*(1.0/24))))
	}
	if y > expMax {
		return 1
	}
	i := int(y*expPerUnit + 0.5)
	d := float64(i)*(1.0/expPerUnit) - y
	return 1 - expTable[i&(expNodes-1)]*(1+d*(1+d*(1.0/2+d*(1.0/6+d*(1.0/24)))))
}
