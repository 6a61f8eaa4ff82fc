package verify

import "math"

// LogBinary is the mean of -ln of the probability given to what happened.
// Range 0..inf, perfect 0, smaller is better; +Inf as soon as one thing happens
// that was called impossible, which is the point of it.
// Source: Good 1952, J. R. Stat. Soc. B 14, 107-114.
func LogBinary(p []float64, y []bool) float64 {
	sameLength("log score", len(p), len(y))
	return mean(each(len(p), func(i int) float64 {
		if y[i] {
			return -math.Log(p[i])
		}
		return -math.Log1p(-p[i])
	}))
}
