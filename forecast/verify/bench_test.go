package verify

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// naiveCRPS is the definition with its double sum.
func naiveCRPS(y float64, x []float64) float64 {
	m := float64(len(x))
	var first, second float64
	for _, a := range x {
		first += math.Abs(a - y)
		for _, b := range x {
			second += math.Abs(a - b)
		}
	}
	return first/m - second/(2*m*m)
}

// BenchmarkCRPS scores one forecast of 50 and of 200 members, sorted against the
// double sum, after checking that they agree.
func BenchmarkCRPS(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, m := range []int{50, 200} {
		x := each(m, func(int) float64 { return 140 + 8*rng.NormFloat64() })
		if math.Abs(CRPS(143, x)-naiveCRPS(143, x)) > 1e-10 {
			b.Fatal("sorted and double sum disagree")
		}
		for name, f := range map[string]func(float64, []float64) float64{"sorted": CRPS, "double-sum": naiveCRPS} {
			b.Run(fmt.Sprintf("%s/members=%d", name, m), func(b *testing.B) {
				for b.Loop() {
					f(143, x)
				}
			})
		}
	}
}
