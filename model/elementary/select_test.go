package elementary

import (
	"math/rand/v2"
	"slices"
	"testing"
)

func TestTheKthSmallestIsThatOfTheSortedValues(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2))
	for range 2000 {
		x := make([]float64, 1+rng.IntN(40))
		for i := range x {
			x[i] = float64(rng.IntN(12)) // ties
		}
		sorted, k := slices.Sorted(slices.Values(x)), rng.IntN(len(x))
		if got := KthSmallest(x, k); got != sorted[k] {
			t.Fatalf("%d of %v: %v", k, sorted, got)
		}
	}
}
