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
	k0, k1, k2, k3 := stepFactors(h)
	c, f, r, q := densityAt(z, h)
	for i := range share {
		u := c * c
		share[i] = f * (k0 + u*(k1+u*(k2+u*k3)))
		c += h
		f *= r
		r *= q
	}
}

// smoothPassed fills passed with the running sums of what smooth gives, times the gate's
// opening at the day's temperature, and returns the last: all in one loop, since it is most
// of a backtest.
func smoothPassed(passed []float64, z, h float64, gate Gate, temp []float32) (sum float64) {
	k0, k1, k2, k3 := stepFactors(h)
	c, f, r, q := densityAt(z, h)
	passed = passed[:len(temp)]
	for i, t := range temp {
		u := c * c
		a := f * (k0 + u*(k1+u*(k2+u*k3)))
		c += h
		f *= r
		r *= q
		if t := float64(t); t < gate.MinC || t > gate.MaxC {
			a *= gate.Open(t)
		}
		sum += a
		passed[i] = sum
	}
	return sum
}

// stepFactors are the factors of the powers of u for a step h.
func stepFactors(h float64) (k0, k1, k2, k3 float64) {
	h2 := h * h
	a1, a2, a3 := h2/24, h2*h2/1920, h2*h2*h2/322560
	return 1 - a1 + 3*a2 - 15*a3, a1 - 6*a2 + 45*a3, a2 - 15*a3, a3
}

// densityAt is the middle of the step from z on, h times the density there, and the factors
// r and q that take it from step to step.
func densityAt(z, h float64) (c, f, r, q float64) {
	c = z + h/2
	return c, h * math.Exp(-c*c/2) / math.Sqrt(2*math.Pi), math.Exp(-c*h - h*h/2), math.Exp(-h * h)
}
