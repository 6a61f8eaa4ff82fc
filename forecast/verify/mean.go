package verify

import (
	"fmt"
	"math"
)

// mean is the arithmetic mean, NaN for an empty slice.
func mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// Skill is 1 - score/reference for a score that is 0 when perfect. Range
// -inf..1, perfect 1, larger is better, 0 means no better than the reference;
// NaN when the reference is itself perfect.
// Source: Murphy 1988, Mon. Wea. Rev. 116, 2417-2424.
func Skill(score, reference float64) float64 {
	if reference == 0 {
		return math.NaN()
	}
	return 1 - score/reference
}

// each collects f(0), f(1), ... f(n-1).
func each(n int, f func(i int) float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = f(i)
	}
	return out
}

func sameLength(what string, a, b int) {
	if a != b {
		panic(fmt.Sprintf("verify: %s: %d forecasts against %d outcomes", what, a, b))
	}
}

// unit is 1 for an event and 0 for none.
func unit(y bool) float64 {
	if y {
		return 1
	}
	return 0
}
