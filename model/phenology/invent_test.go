package phenology

import (
	"math"
	"math/rand/v2"
)

// inventWater is an invented year of a cool river: a sine with departures that
// last about ten days and a departure of the whole year.
func inventWater(rng *rand.Rand) []float64 {
	t := make([]float64, 365)
	year, dep := 0.8*rng.NormFloat64(), 0.0
	keep := math.Exp(-1.0 / 10)
	for d := range t {
		dep = keep*dep + 1.5*math.Sqrt(1-keep*keep)*rng.NormFloat64()
		t[d] = math.Max(0, 8-6*math.Cos(2*math.Pi*float64(d-20)/365)+year+dep)
	}
	return t
}

// inventGroup is an invented early-summer group.
func inventGroup() Params {
	return Params{
		BaseC: 4, UpperC: 20, BiofixDOY: 1, DD50: 400, MedianDOY: 165, MedianSD: 12,
		SpreadDays: 9, SpreadCV: 0.35, Weight: 0.5, LagMinDays: 3, LagMaxDays: 10,
		GateMinC: 6, GateMaxC: 18, PeakChance: 0.65, PeakCV: 0.7,
	}
}
