package elementary

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestExponentialsFromTheTableAreThoseOfTheLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	worst := 0.0
	for range 200_000 {
		x := -50 + 70*rng.Float64() // beyond both ends of the table
		worst = max(worst, math.Abs(Exp(x)/math.Exp(x)-1))
	}
	if worst > 3e-14 {
		t.Errorf("off by up to %.1e of the value", worst)
	}
	for _, x := range []float64{expLow, expHigh, 0, math.Inf(1), math.Inf(-1)} {
		if got, want := Exp(x), math.Exp(x); math.Abs(got-want) > 3e-14*want {
			t.Errorf("exp(%v) is %v, not %v", x, got, want)
		}
	}
	if !math.IsNaN(Exp(math.NaN())) {
		t.Error("exp(NaN) is a number")
	}
}
