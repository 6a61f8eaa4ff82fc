package phenology

import "math"

// Taxon is a group of the catalogue at a river as the joint model takes it, from
// its prior: usualDOY is its usual median date there, day of the year.
func (p Params) Taxon(insect, site int, usualDOY float64) Taxon {
	return Taxon{Insect: insect, Site: site, MedianDOY: usualDOY, MedianSD: p.MedianSD, ScaleDays: NewScale, SpreadDays: p.SpreadDays}
}

// Curves are the usual curves of emergence and of egg-laying of a group, and how
// many days the middle of egg-laying lies after that of emergence.
func (p Params) Curves() (emergence, eggs UsualCurve, eggsDays float64) {
	return NormalCurve(p.SpreadDays), NormalCurve(p.spreadEggs()), float64(p.LagMinDays+p.LagMaxDays) / 2
}

// SightingNumbers are the records that two hours would yield if a whole season
// fell on one day, before any sighting: the river's numbers and the season's are
// both unknown.
func (p Params) SightingNumbers() Numbers {
	return Numbers{MeanLog: math.Log(p.Rate()), SDLog: math.Hypot(p.PeakCV, seasonNumbers)}
}

// seasonNumbers is how far one season's numbers stray from the usual, as the
// standard deviation of their logarithm: a factor of 1.6. Our own default.
const seasonNumbers = 0.5

// EngineSeason are the draws of one season for the engine: the median date of
// member m is Weight[m] x thermal date + (1 - Weight[m]) x Calendar[m].
type EngineSeason struct {
	DD50, Calendar, Weight, SpreadDays []float64
	Usual                              []float64 // median dates by the calendar alone
}

// mostWeight keeps the calendar's part of a draw from vanishing.
const mostWeight = 0.9

// Draw gives each of n members its own level and slope of the median date, spread
// and calendar date. Days count from the start of the season-year, 0 the first;
// median dates are moved there by shift. requirement is the degree-days that the
// mean year gathers by the usual date, usualEnd the end of that day, and usual the
// distribution of the median date by the calendar alone.
func (m MedianDate) Draw(seed uint64, n int, shift, requirement, usualEnd, meanDeparture float64, usual MedianDate, p Params) EngineSeason {
	var z [4][]float64
	for k := range z {
		z[k] = normals(n, seed, uint64(k))
	}
	out := EngineSeason{}
	levelSD := math.Sqrt(m.LevelVar)
	along := 0.0 // of the slope's departure with the level's
	if levelSD > 0 {
		along = m.Covar / levelSD
	}
	restSD := math.Sqrt(max(0, m.SlopeVar-along*along))
	for i := range n {
		level := m.Level + levelSD*z[0][i] + shift
		slope := m.Slope + along*z[0][i] + restSD*z[1][i]
		if requirement <= 0 {
			slope = 0
		}
		slope = min(mostWeight, max(0, slope))
		out.Weight = append(out.Weight, slope)
		out.DD50 = append(out.DD50, max(requirement, 1))
		out.Calendar = append(out.Calendar, (level-slope*(usualEnd+meanDeparture))/(1-slope))
		out.SpreadDays = append(out.SpreadDays, max(minSpread, p.SpreadDays*math.Exp(p.SpreadCV*z[2][i])))
		out.Usual = append(out.Usual, usual.Level+math.Sqrt(usual.LevelVar)*z[3][i]+shift)
	}
	return out
}

// minSpread is the least spread of a draw, days; that of forecast/engine.
const minSpread = 0.5
