package watertemp

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The derivatives that one pass carries along are those of the cost itself.
func TestDerivativesAgreeWithDifferencesOfTheCost(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, withFlow := range []bool{true, false} {
		n := 800
		in := Input{Air: make([]float64, n), Water: make([]float64, n), Flow: make([]float64, n)}
		for i := range n {
			s := math.Sin(angle(i))
			in.Air[i], in.Water[i], in.Flow[i] = 9+10*s+3*rng.NormFloat64(), math.Max(0, 8+6*s+rng.NormFloat64()), math.Exp(1+0.5*rng.NormFloat64())
		}
		if !withFlow {
			in.Flow = nil
		}
		f, err := newFitter(in)
		if err != nil {
			t.Fatal(err)
		}
		p := pooled.drawn(pooled.around(average), rng.NormFloat64, 0.3)
		if c := f.normal(&p); math.Abs(c-f.cost(&p)) > 1e-9*c {
			t.Errorf("with flow %v: the cost is %v by one road and %v by the other", withFlow, c, f.cost(&p))
		}
		for k := range p {
			const step = 1e-6
			a, b := p, p
			a[k] -= step
			b[k] += step
			want := -(f.cost(&b) - f.cost(&a)) / (2 * step) / 2
			if math.Abs(want-f.jtr[k]) > 1e-4*(1+math.Abs(want)) {
				t.Errorf("with flow %v, parameter %d: derivative %v, differences say %v", withFlow, k, f.jtr[k], want)
			}
		}
	}
}
