package phenology

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// Taxon is a group of the catalogue at a river as the joint model takes it, from
// its prior: usualDOY is its usual median date there, day of the year.
func (p Params) Taxon(insect, site int, usualDOY float64) Taxon {
	return Taxon{Insect: insect, Site: site, MedianDOY: usualDOY, MedianSD: p.MedianSD, ScaleDays: NewScale, SpreadDays: p.SpreadDays}
}

// Curves are the usual curves of emergence and of egg-laying of a group, and how
// many days the middle of egg-laying lies after that of emergence.
func (p Params) Curves() (emergence, eggs UsualCurve, eggsDays float64) {
	return normalCurve(p.SpreadDays), normalCurve(p.spreadEggs()), float64(p.LagMinDays+p.LagMaxDays) / 2
}

// Course is what a season looks like around its median date, at a reach: its
// length and its numbers, and how uncertain both are before anything of it is
// seen.
type Course struct {
	SpreadDays, SpreadCV float64
	Numbers              Numbers // of emergence
	EggsFactor           float64 // by which those of egg-laying are larger
}

// Course is that of a group at a river.
func (p Params) Course() Course {
	return Course{p.SpreadDays, p.SpreadCV, p.SightingNumbers(), p.RateEggs() / p.Rate()}
}

// SightingNumbers are the records that two hours would yield if a whole season
// fell on one day, before any sighting: the river's numbers and the season's are
// both unknown.
func (p Params) SightingNumbers() Numbers {
	return Numbers{MeanLog: math.Log(p.Rate()), SDLog: math.Hypot(p.PeakCV, seasonNumbers)}
}

// EngineSeason are the draws of one season for the engine: the median date of
// member m is Weight[m] x thermal date + (1 - Weight[m]) x Calendar[m].
type EngineSeason struct {
	DD50, Calendar, Weight, SpreadDays []float64
	Rate, RateEggs                     []float64
	Usual                              []float64 // median dates by the calendar alone
}

// mostWeight keeps the calendar's part of a draw from vanishing.
const mostWeight = 0.9

// Blend says how the median date of a season hangs on its thermal date in days of
// the season-year, 0 the first.
type Blend struct {
	Median      MedianDate // day of the year
	Usual       MedianDate // the same by the calendar alone, which trusts recent years more
	Shift       float64    // from days of the year to days of the season-year
	Requirement float64    // degree-days that the mean year gathers by the usual date; 0 if no temperature is known
	ThermalZero float64    // thermal date at which the departure is 0, days of the season-year
}

// Scores are standard normal scores of members: of level, slope, spread,
// calendar date and numbers.
type Scores [5][]float64

// NewScores returns the scores of n members. The same seed gives the same scores,
// so that from one issue to the next a forecast moves only as far as what is known.
func NewScores(seed uint64, n int) Scores {
	var z Scores
	for k := range z {
		z[k] = normals(n, seed, uint64(k))
	}
	return z
}

// Draw gives each member its own level and slope of the median date, spread,
// calendar date and numbers.
func (b Blend) Draw(z *Scores, c Course) EngineSeason {
	m, n := b.Median, len(z[0])
	levelSD := math.Sqrt(m.LevelVar)
	along := 0.0 // how far the slope departs with the level
	if levelSD > 0 {
		along = m.Covar / levelSD
	}
	restSD := math.Sqrt(max(0, m.SlopeVar-along*along))
	out := EngineSeason{}
	for i := range n {
		level := m.Level + levelSD*z[0][i] + b.Shift
		slope := 0.0
		if b.Requirement > 0 {
			slope = min(mostWeight, max(0, m.Slope+along*z[0][i]+restSD*z[1][i]))
		}
		out.Weight = append(out.Weight, slope)
		out.DD50 = append(out.DD50, max(b.Requirement, 1))
		out.Calendar = append(out.Calendar, (level-slope*b.ThermalZero)/(1-slope))
		out.SpreadDays = append(out.SpreadDays, max(minSpread, c.SpreadDays*math.Exp(c.SpreadCV*z[2][i])))
		rate := math.Exp(c.Numbers.MeanLog + c.Numbers.SDLog*z[4][i])
		out.Rate, out.RateEggs = append(out.Rate, rate), append(out.RateEggs, rate*c.EggsFactor)
		out.Usual = append(out.Usual, b.Usual.Level+math.Sqrt(b.Usual.LevelVar)*z[3][i]+b.Shift)
	}
	return out
}

// minSpread is the least spread of a draw, days; that of forecast/engine.
const minSpread = 0.5

// normals are n standard normal scores in a random order, one from each slice of
// equal chance (McKay, Beckman & Conover 1979, Technometrics 21, 239-245), so that
// few draws stand well for the distribution. The same seed gives the same scores.
func normals(n int, seed, key uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 0x7068656e<<8|key))
	z := make([]float64, n)
	for i := range z {
		z[i] = distuv.UnitNormal.Quantile((float64(i) + 0.5 + 0.999*(rng.Float64()-0.5)) / float64(n))
	}
	rng.Shuffle(n, func(i, j int) { z[i], z[j] = z[j], z[i] })
	return z
}

// Learnt are the parameters after sightings told by how much the logarithms of the
// numbers and of the length of a season differ from the prior.
func (p Params) Learnt(numbers, stretch float64) Params {
	peak := math.Log(-math.Log1p(-p.PeakChance)) + numbers
	p.PeakChance = -math.Expm1(-math.Exp(math.Min(peak, 3)))
	p.SpreadDays *= math.Exp(stretch)
	return p
}
