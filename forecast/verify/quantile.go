package verify

import (
	"math"
)

// QuantileOfSorted is Quantile of values that are sorted already.
func QuantileOfSorted(s []float64, q float64) float64 {
	if len(s) == 0 || math.IsNaN(q) {
		return math.NaN()
	}
	h := q * float64(len(s)-1)
	i := int(math.Floor(h))
	if i >= len(s)-1 {
		return s[len(s)-1]
	}
	return s[i] + (h-float64(i))*(s[i+1]-s[i])
}
