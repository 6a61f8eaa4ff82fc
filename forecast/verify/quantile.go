package verify

import (
	"math"
	"slices"
)

func sorted(x []float64) []float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return s
}

// Quantile is the q-quantile of values that need not be sorted, by linear
// interpolation of the order statistics (type 7 of Hyndman & Fan 1996, Am.
// Stat. 50, 361-365). NaN for no values.
func Quantile(x []float64, q float64) float64 { return QuantileOfSorted(sorted(x), q) }

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
