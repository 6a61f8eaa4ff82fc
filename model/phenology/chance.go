package phenology

import "math"

// AtLeast is the chance of at least k records, or animals of a catch, where so
// many are expected: Poisson. That the numbers of a season are not known makes
// records uneven; draws of Course.Numbers stand for it.
func AtLeast(expected float64, k int) float64 {
	fewer, term := 0.0, math.Exp(-expected)
	for j := range k {
		fewer += term
		term *= expected / float64(j+1)
	}
	return max(0, 1-fewer)
}
