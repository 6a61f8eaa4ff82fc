package engine

import "math"

// smoothSpread is the spread, in days, from which on a day's share comes from
// the density at noon (smooth); below it, from differences of Phi (steep).
const smoothSpread = 4

// steep fills share with Phi(z+h) - Phi(z) for z, z+h, z+2h, ..., all within
// Reach but for the far sides of the first and the last step.
func steep(share []float64, z, h float64) {
	prev := phi(max(z, -Reach))
	for i := range share {
		f := phi(min(z+float64(i+1)*h, Reach+1))
		share[i] = f - prev
		prev = f
	}
}

// smooth does the same for steps h <= 1/smoothSpread from the density at the
// middle c of each step,
//
//	Phi(c+h/2) - Phi(c-h/2) = h phi(c) (1 + h^2 (u-1)/24 + h^4 (u^2-6u+3)/1920
//	                          + h^6 (u^3-15u^2+45u-15)/322560 + ...),  u = c^2,
//
// the Taylor series of Phi about c, whose next term is below 2e-12. The density
// goes from step to step by two multiplications, phi(c+h) = phi(c) r and
// r' = r exp(-h^2), which lose no more than 1e-12 of it over 13 standard
// deviations.
func smooth(share []float64, z, h float64) {
	h2 := h * h
	a1, a2, a3 := h2/24, h2*h2/1920, h2*h2*h2/322560
	k0 := 1 - a1 + 3*a2 - 15*a3
	k1 := a1 - 6*a2 + 45*a3
	k2 := a2 - 15*a3
	k3 := a3
	c := z + h/2
	f := h * math.Exp(-c*c/2) / math.Sqrt(2*math.Pi)
	r := math.Exp(-c*h - h2/2)
	q := math.Exp(-h2)
	for i := range share {
		u := c * c
		share[i] = f * (k0 + u*(k1+u*(k2+u*k3)))
		c += h
		f *= r
		r *= q
	}
}
