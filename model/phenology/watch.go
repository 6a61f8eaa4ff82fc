package phenology

import (
	"math"
)

// Watch is a trap's catch or a sighting of one taxon in one season.
type Watch struct {
	// The watch covers the days of the year From to To, To not included.
	From, To float64
	Stage    Stage

	// Effort is the trap's effort per day beside that on which the usual numbers
	// rest, 1 for the same; 0 for a sighting.
	Effort float64
	Count  float64 // animals caught

	Amount    Amount  // of a sighting
	Hours     float64 // watched, in the group's hours
	Detection float64 // chance that what was there in numbers was seen and named; 0 for DefaultDetection
}

// Numbers is how many animals a season brings, or for sightings how many records
// two hours would yield if a whole season fell on one day: mean and standard
// deviation of the logarithm.
type Numbers struct{ MeanLog, SDLog float64 }

// Grid of the median date, the numbers and the length of a season.
const (
	gridDates   = 49
	gridReach   = 4.0
	gridNumbers = 11
	gridWide    = 2.6
	// Catches and sightings of nearby days hang together, so their likelihood
	// is raised to a power below 1: catches by the fit to the Breitenbach
	// record, sightings by the same record read by an invented observer.
	catchTemper    = 0.4
	sightingTemper = 0.7
	leastExpected  = 1e-3
)

// stretches are how much longer one season may be than usual, with weights.
var stretches = [3][2]float64{{0.7, 0.25}, {1, 0.5}, {1.4, 0.25}}


// DateGivenWatches returns mean and variance of the median date of emergence of
// a season, DOY and days², given watches on the taxon, a normal prior of mean
// and variance, and the taxon's usual curve and numbers. Catches are negative
// binomial of size 1, sightings follow SightingChance. Without watches it
// returns the prior.
func DateGivenWatches(curve, eggs UsualCurve, eggsDays float64, n Numbers, watches []Watch, mean, variance float64) (float64, float64) {
	if len(watches) == 0 {
		return mean, variance
	}
	sd := math.Sqrt(variance)
	var logp [gridDates][gridNumbers * len(stretches)]float64
	best := math.Inf(-1)
	share := make([]float64, len(watches))
	for i := range gridDates {
		z := gridReach * (2*float64(i)/(gridDates-1) - 1)
		date := mean + sd*z
		for s, stretch := range stretches {
			for k := range watches {
				w := &watches[k]
				c, at := &curve, date
				if w.Stage == EggLaying {
					c, at = &eggs, date+eggsDays
				}
				share[k] = c.Passed((w.To-at)/stretch[0]) - c.Passed((w.From-at)/stretch[0])
			}
			for j := range gridNumbers {
				zn := gridWide * (2*float64(j)/(gridNumbers-1) - 1)
				l := watchesLikelihood(watches, share, math.Exp(n.MeanLog+n.SDLog*zn)) - 0.5*(z*z+zn*zn) + math.Log(stretch[1])
				logp[i][j*len(stretches)+s] = l
				best = max(best, l)
			}
		}
	}
	var sum, first, second float64
	for i := range gridDates {
		z := gridReach * (2*float64(i)/(gridDates-1) - 1)
		var p float64
		for _, l := range logp[i] {
			p += math.Exp(l - best)
		}
		sum, first, second = sum+p, first+p*z, second+p*z*z
	}
	first /= sum
	return mean + sd*first, variance * max(second/sum-first*first, 1e-6)
}

// watchesLikelihood is the tempered log likelihood of watches whose days hold
// those shares of a season of that size. The factorials of the catches, which no
// date changes, are left out.
func watchesLikelihood(watches []Watch, share []float64, size float64) float64 {
	var catches, sightings float64
	product := 1.0 // of 1 + expected, so that one logarithm serves for many days
	for k := range watches {
		w := &watches[k]
		if w.Effort == 0 {
			sightings += math.Log(max(leastChance, SightingChance(w.Amount, size, share[k], w.Hours, w.Detection)))
			continue
		}
		m := max(size*w.Effort*share[k], leastExpected)
		if w.Count > 0 {
			catches += w.Count * math.Log(m/(1+m))
		}
		if product *= 1 + m; product > 1e200 {
			catches -= math.Log(product)
			product = 1
		}
	}
	return catchTemper*(catches-math.Log(product)) + sightingTemper*sightings
}
