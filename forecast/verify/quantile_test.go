package verify

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestAQuantileNeedsNoSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for n := range 60 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(rng.IntN(30)) // with ties
		}
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		for _, q := range []float64{0, 0.05, 0.5, 0.95, 1} {
			if got, want := quantile(v, q), QuantileOfSorted(sorted, q); got != want && !(math.IsNaN(got) && n == 0) {
				t.Errorf("%v of %d values: %v, not %v", q, n, got, want)
			}
		}
	}
}
