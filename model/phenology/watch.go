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

	// Many watches put all weight on one node; what is known is then known to half
	// a step of the grid.
	numbersStep = 2 * gridWide / (gridNumbers - 1)
	stretchStep = 0.35
)

// stretches are how much longer one season may be than usual, with weights.
var stretches = [3][2]float64{{0.7, 0.25}, {1, 0.5}, {1.4, 0.25}}

// Seen is what watches of one season tell of it, beside the prior: the median
// date of emergence (day of the year, days²), the logarithm of the numbers, and
// the logarithm of how much longer than usual it is.
type Seen struct {
	DOY, DOYVariance       float64
	LogNumbers, NumbersVar float64
	LogStretch, StretchVar float64
	PriorStretchVar        float64
}

// seenIn returns the posterior of a season given watches on the taxon, a normal
// prior of its median date, and the taxon's usual curves and numbers; egg-laying
// has its middle eggsDays after that of emergence. Catches are negative binomial
// of size 1, sightings follow SightingChance. Without watches it is the prior.
func seenIn(curve, eggs UsualCurve, eggsDays float64, n Numbers, watches []Watch, mean, variance float64) Seen {
	sd := math.Sqrt(variance)
	share := make([]float64, len(watches))
	var sums moments
	sums.best = math.Inf(-1)
	for i := range gridDates {
		z := gridReach * (2*float64(i)/(gridDates-1) - 1)
		date := mean + sd*z
		for _, stretch := range stretches {
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
				sums.add(l, [3]float64{z, zn, math.Log(stretch[0])})
			}
		}
	}
	m, v := sums.of()
	var prior moments
	for _, s := range stretches {
		prior.add(math.Log(s[1]), [3]float64{2: math.Log(s[0])})
	}
	_, pv := prior.of()
	if len(watches) == 0 {
		m[0], v[0] = 0, 1 // the grid ends a little short of the normal
	}
	return Seen{
		DOY: mean + sd*m[0], DOYVariance: variance * max(v[0], 1e-6),
		LogNumbers: n.MeanLog + n.SDLog*m[1], NumbersVar: n.SDLog * n.SDLog * max(v[1], numbersStep*numbersStep/12),
		LogStretch: m[2], StretchVar: max(v[2], stretchStep*stretchStep/12), PriorStretchVar: pv[2],
	}
}

// moments are weighted sums of three coordinates, by log weight.
type moments struct {
	best, weight  float64
	first, second [3]float64
}

func (m *moments) add(logWeight float64, x [3]float64) {
	if logWeight > m.best || m.weight == 0 {
		f := 0.0
		if m.weight > 0 {
			f = math.Exp(m.best - logWeight)
		}
		m.best = logWeight
		m.weight *= f
		for k := range m.first {
			m.first[k] *= f
			m.second[k] *= f
		}
	}
	w := math.Exp(logWeight - m.best)
	m.weight += w
	for k := range x {
		m.first[k] += w * x[k]
		m.second[k] += w * x[k] * x[k]
	}
}

// of are means and variances.
func (m *moments) of() (mean, variance [3]float64) {
	for k := range mean {
		mean[k] = m.first[k] / m.weight
		variance[k] = max(0, m.second[k]/m.weight-mean[k]*mean[k])
	}
	return mean, variance
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
			sightings += math.Log(max(leastChance, sightingChance(w.Amount, size, share[k], w.Hours, w.Detection)))
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
