package elementary

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestLogarithmsFromTheTableAreThoseOfTheLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2))
	for range 200_000 {
		x := math.Exp(-700 + 1400*rng.Float64())
		if rng.IntN(2) == 0 {
			x = 4 * rng.Float64() // most are near 1
		}
		got, want := Log(x), math.Log(x)
		if math.Abs(got-want) > 1e-15*max(1, math.Abs(want)) {
			t.Fatalf("log(%v) is %v, not %v", x, got, want)
		}
	}
	for _, x := range []float64{0, math.Copysign(0, -1), -1, 5e-324, 1e-310, 1, 2, math.MaxFloat64, math.Inf(1), math.Inf(-1), math.NaN()} {
		got, want := Log(x), math.Log(x)
		if math.IsNaN(got) != math.IsNaN(want) || !math.IsNaN(want) && math.Abs(got-want) > 1e-13 && got != want {
			t.Errorf("log(%v) is %v, not %v", x, got, want)
		}
	}
}

func BenchmarkLog(b *testing.B) {
	s, x := 0.0, 0.1
	for b.Loop() {
		s += Log(x)
		x += 0.001
	}
	_ = s
}

func BenchmarkLogOfTheLibrary(b *testing.B) {
	s, x := 0.0, 0.1
	for b.Loop() {
		s += math.Log(x)
		x += 0.001
	}
	_ = s
}
