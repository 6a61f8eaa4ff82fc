package phenology

import (
	"math"

	"example.org/eclose/model/insects"
)

// Params are the prior of one group at one river. Each
// uncertain figure has its standard deviation beside it: of the logarithm where
// the name ends in CV, in the figure's own unit where it ends in SD.
type Params struct {
	BaseC, UpperC float64 // degree-days count between them; UpperC may be +Inf
	BiofixDOY     int     // day of the year on which they start, 1 is 1 January

	DD50 float64 // °C·d to half of a season's emergence in the region; 0 if no thermal rule is usable

	MedianDOY float64 // the calendar's median date, day of the year; days below 1 lie in the year before
	MedianSD  float64 // days: how far it may be off at this river

	SpreadDays float64 // standard deviation of emergence around its median at one reach
	SpreadCV   float64
	Weight     float64 // w, 0 calendar only .. 1 temperature only

	LagMinDays int // from emergence to the first egg-laying
	LagMaxDays int // to the last
	GateMinC   float64
	GateMaxC   float64

	PeakChance float64 // of a record in two hours on the peak day of a season of usual dates, length and numbers
	PeakCV     float64 // standard deviation of the logarithm of the records expected then

	Measured bool // something seen at this river entered
	Seasons  int  // how many seasons of it
}

// What a season is like before anything was seen of it. Figures are those of the
// Breitenbach trap up to 1987, three animals at a visit standing for a record; no
// record of an observer is in hand. See RESULTS.md for the check on later seasons.
const (
	// SeasonCV is how uncertain the length of a season is, for a taxon whose usual
	// length is known or not.
	SeasonCV = 0.5
	// peakChance is that of the middle taxon within two days of the middle of a
	// season of 40 animals or more, at a visit a day or two after the last.
	peakChance = 0.8
	// peakCV is how far taxa lie from that: 24 to 97 % at the 10 and 90 % points.
	peakCV = 1.0
	// seasonNumbers is how far the numbers of two seasons running differ, over
	// the square root of 2.
	seasonNumbers = 0.75
	// leastSpread is the shortest season in days, as a standard deviation: 88 %
	// of a reach's salmonflies within six days (Sheldon 1999) is 1.9.
	leastSpread = 2.0
)

// FromGroup is the prior of a catalogue group in a region. It says false if the
// catalogue has no window for it there.
func FromGroup(g *insects.Group, r insects.Region) (Params, bool) {
	w, ok := g.Window(r, insects.Emergence)
	if !ok {
		return Params{}, false
	}
	p := Params{
		BaseC: g.BaseTempC, UpperC: g.UpperTempC, BiofixDOY: max(1, g.BiofixDoy),
		MedianDOY: float64(w.Median), MedianSD: w.MedianSDDays,
		// A window of the catalogue covers a region; one reach is shorter.
		SpreadDays: math.Max(leastSpread, w.ReachSpreadSDDays()), SpreadCV: SeasonCV,
		GateMinC: g.EmergeMinC, GateMaxC: g.EmergeMaxC, PeakChance: peakChance, PeakCV: peakCV,
	}
	p.LagMinDays, p.LagMaxDays = lags(g, r)
	if t, ok := g.Thermal(r); ok {
		p.DD50, p.Weight = t.DD50, t.Weight
	}
	if math.IsNaN(p.UpperC) {
		p.UpperC = math.Inf(1)
	}
	if math.IsNaN(p.GateMinC) {
		p.GateMinC = math.Inf(-1)
	}
	if math.IsNaN(p.GateMaxC) {
		p.GateMaxC = math.Inf(1)
	}
	return p, true
}

// lags are the days from emergence to egg-laying. The catalogue gives their mean
// and standard deviation, so they are taken as spread evenly over mean -+ sqrt(3)
// sd; no adult lays when it is dead. Where a region has a window of its own for
// egg-laying, its middle replaces the mean.
func lags(g *insects.Group, r insects.Region) (first, last int) {
	mean, sd := orZero(g.MaturationDays), orZero(g.MaturationSDDays)
	emergence, _ := g.Window(r, insects.Emergence)
	if eggs, ok := g.Window(r, insects.EggLaying); ok && !eggs.Shifted && eggs.Median > emergence.Median {
		mean = float64(eggs.Median - emergence.Median)
	}
	half := math.Sqrt(3) * sd
	first = int(math.Max(0, math.Round(mean-half)))
	last = int(math.Round(mean + half))
	if dead := orZero(g.AdultDaysMax); dead > 0 {
		last = min(last, int(math.Ceil(math.Max(dead, mean))))
	}
	return first, min(max(first, last), longestLife)
}

// longestLife bounds the days from emergence to the last eggs. Our own default:
// no adult of the catalogue lives longer.
const longestLife = 60

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// CalendarOnly is the twin that knows nothing of the water: its weight is 0 and
// its gate stands open.
func (p Params) CalendarOnly() Params {
	p.Weight = 0
	p.GateMinC, p.GateMaxC = math.Inf(-1), math.Inf(1)
	return p
}

// thermal reports whether temperature has any say.
func (p Params) thermal() bool { return p.DD50 > 0 && p.Weight > 0 }

// Rate is what two hours would yield if a whole season fell on one day, such
// that the peak day of a season has the given chance: 1 - exp(-Rate a) with a
// the share on that day.
func (p Params) Rate() float64 {
	return -math.Log1p(-p.PeakChance) * p.SpreadDays * math.Sqrt(2*math.Pi)
}

// RateEggs is Rate for egg-laying, whose season is the longer the longer the
// adults live.
func (p Params) RateEggs() float64 {
	return -math.Log1p(-p.PeakChance) * p.spreadEggs() * math.Sqrt(2*math.Pi)
}

// spreadEggs is the standard deviation of egg-laying around its middle: that of
// emergence and of lags spread evenly.
func (p Params) spreadEggs() float64 {
	span := float64(p.LagMaxDays-p.LagMinDays) + 1
	return math.Sqrt(p.SpreadDays*p.SpreadDays + span*span/12)
}

// Redated returns p after better dates were found for the region: so many days
// later than the catalogue's, with their own doubt, and a season of that length at
// one reach, as a standard deviation; 0 keeps the catalogue's length.
func (p Params) Redated(laterDays, medianSDDays, spreadDays float64) Params {
	p.MedianDOY += laterDays
	p.MedianSD = medianSDDays
	if spreadDays > 0 {
		p.SpreadDays = math.Max(leastSpread, spreadDays)
	}
	return p
}
