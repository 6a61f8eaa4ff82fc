package flow

import (
	"math"
	"math/rand/v2"
)

// basin is an invented one: air, rain and snow, a linear reservoir for the ground and one
// for the surface. All figures are invented.
type basin struct {
	cold    float64 // °C by which the snow lies colder than the gauge
	rainy   float64 // chance of rain on a day
	quick   float64 // share of the surface store that leaves in a day
	slow    float64 // the same of the ground
	rainMax float64 // mm, mean of a wet day
}

var snowy, wet = basin{cold: 6, rainy: 0.25, quick: 0.3, slow: 0.03, rainMax: 6}, basin{cold: 0, rainy: 0.35, quick: 0.5, slow: 0.02, rainMax: 9}

// invent makes so many years of a basin from 1 October 2000 on.
func (b basin) invent(years int, seed uint64) Input {
	rng := rand.New(rand.NewPCG(seed, 1))
	in := Input{Day0: dayOf(2000, 10, 1)}
	weather, pack, surface, ground := 0.0, 0.0, 2.0, 60.0
	for i := range years * 365 {
		s := seasonOf(in.Day0 + i)
		weather = 0.8*weather + 2.2*rng.NormFloat64()
		air := 9 - 10*s[0] + weather
		mm := 0.0
		if rng.Float64() < b.rainy {
			mm = b.rainMax * rng.ExpFloat64()
		}
		high := air - b.cold
		liquid := mm
		if high < 1 {
			pack, liquid = pack+mm, 0
		}
		melt := min(pack, 2.5*max(0, high))
		pack -= melt
		water := liquid + melt
		surface += 0.6 * water
		ground += 0.3 * water
		q := b.quick*surface + b.slow*ground
		surface -= b.quick * surface
		ground -= b.slow * ground
		in.Air, in.Rain, in.Flow = append(in.Air, air), append(in.Rain, mm), append(in.Flow, (0.2+q)*math.Exp(0.03*rng.NormFloat64()))
	}
	return in
}
