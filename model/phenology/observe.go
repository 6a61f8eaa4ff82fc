package phenology

import "math"

// Stage is the part of the adult's life that an observation is of.
type Stage int

// The stages.
const (
	Emergence Stage = iota
	EggLaying
)

// Amount is how much an observer saw.
type Amount int

// The amounts: nothing beyond strays, more than strays, and as much as the
// group shows here on a good day.
const (
	None Amount = iota
	Few
	Many
)

// Our own defaults of the observation model.
const (
	// defaultDetection allows for a watcher who looks at the wrong reach or
	// cannot tell the group.
	defaultDetection = 0.8
	// strays is the chance that a group not on the water in numbers is reported
	// all the same: an error of naming or of date.
	strays = 0.02
	// manyShare is what "many" needs: a day that yields records at five times
	// the least rate at which they would be called "few".
	manyShare = 0.2
	// leastChance keeps a single impossible sighting from deciding everything.
	leastChance = 1e-6
)

// sightingChance is the probability of what was seen on a day with the share a
// of the season, by
//
//	P(at least few) = s + (D - s) (1 - exp(-rate a h/2))
//	P(many)         = D (1 - exp(-rate a h/2 / 5))
//
// with D the detection, h the hours and s = 0.02 for strays. P(many) is bounded
// by P(at least few).
func sightingChance(y Amount, rate, share, hours, detection float64) float64 {
	if detection <= 0 {
		detection = defaultDetection
	}
	m := rate * share * hours / 2
	some := strays + math.Max(detection-strays, 0)*-math.Expm1(-m)
	many := math.Min(detection*-math.Expm1(-m*manyShare), some)
	switch y {
	case None:
		return 1 - some
	case Few:
		return some - many
	default:
		return many
	}
}
