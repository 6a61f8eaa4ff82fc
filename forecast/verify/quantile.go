package verify

import (
	"math"
	"slices"

	"example.org/eclose/model/elementary"
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

// quantile is QuantileOfSorted of values in any order, which it disorders further: two of
// them are needed, and to sort all takes longer.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 || math.IsNaN(q) {
		return math.NaN()
	}
	h := q * float64(len(v)-1)
	i := min(int(math.Floor(h)), len(v)-1)
	at := elementary.KthSmallest(v, i)
	if i == len(v)-1 {
		return at
	}
	return at + (h-float64(i))*(slices.Min(v[i+1:])-at) // those after the i-th are no smaller
}
