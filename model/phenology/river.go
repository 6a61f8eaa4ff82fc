package phenology

import (
	"math"
	"time"

	"example.org/eclose/model/insects"
	"example.org/eclose/model/sun"
)

// farthestDays is how far the normal water of a river alone may move a group's
// thermal date from its calendar date. Published differences between rivers are
// of this size (salmonfly: 20 days between sites 4 °C apart, Anderson, Albertson
// & Walters 2019) though their degree-days would differ by months. Our own
// default.
const farthestDays = 21.0

// AtRiver fits a regional prior to a river whose normal daily water, °C from 1
// January over a year, is known. The requirement in the catalogue comes from a
// region's gauges; at a much colder or warmer river it would put the date months
// away, or out of reach. So where the normal year's thermal date lies more than
// farthestDays from the calendar's, the requirement becomes what the river
// gathers by that far.
func (p Params) AtRiver(normalC []float64) Params {
	if !p.thermal() || len(normalC) < 365 {
		return p
	}
	calendar := p.MedianDOY - 1
	to := math.Min(math.Max(p.ThermalDate(normalC), calendar-farthestDays), calendar+farthestDays)
	if to == p.ThermalDate(normalC) {
		return p
	}
	// A date after the columns' end, or before the biofix, has no sum to speak of.
	if to > float64(len(normalC)) || to <= float64(p.BiofixDOY-1) {
		return p.withoutWater()
	}
	if sum := p.gathered(normalC, to); sum >= 1 {
		p.DD50 = sum
		return p
	}
	return p.withoutWater()
}

// withoutWater takes temperature's say on the date away, but not the gate.
func (p Params) withoutWater() Params {
	p.Weight = 0
	return p
}

// gathered is the sum of degree-days by a time in days from 1 January.
func (p Params) gathered(waterC []float64, to float64) float64 {
	var sum float64
	for d := p.BiofixDOY - 1; d < len(waterC) && float64(d) < to; d++ {
		rate := math.Min(math.Max(waterC[d], p.BaseC), p.UpperC) - p.BaseC
		sum += rate * math.Min(1, to-float64(d))
	}
	return sum
}

const (
	// cueShare is how far the calendar's date follows day length when a river
	// lies north or south of where the region's window comes from. That day
	// length is the cue has not been shown for any group, so half: our own
	// default.
	cueShare = 0.5
	// cueReachDays bounds the move.
	cueReachDays = 10.0
)

// AtLatitude moves the calendar's date of a group ruled by day length towards
// the date on which the day at the river is as long as it is on the window's
// middle date where the window comes from. Groups without such a rule, and
// rivers without such a day near the window, stay.
func (p Params) AtLatitude(latDeg float64, rule insects.PhotoperiodRule, r insects.Region) Params {
	from, ok := r.LatDeg()
	if !ok || rule.Kind != "falling" && rule.Kind != "rising" {
		return p
	}
	hours := func(day int, lat float64) float64 {
		// Any ordinary year will do: day lengths differ by a minute or two.
		return sun.Day(time.Date(2023, 1, day, 0, 0, 0, 0, time.UTC), lat, 0).DaylengthHours
	}
	middle := int(math.Round(p.MedianDOY))
	cue := hours(middle, from)
	const near = 45
	best := math.Inf(1)
	last := math.NaN()
	for d := middle - near; d <= middle+near; d++ {
		h := hours(d, latDeg)
		if last > cue && h <= cue && rule.Kind == "falling" || last < cue && h >= cue && rule.Kind == "rising" {
			if off := float64(d - middle); math.Abs(off) < math.Abs(best) {
				best = off
			}
		}
		last = h
	}
	if !math.IsInf(best, 1) {
		p.MedianDOY += cueShare * math.Min(math.Max(best, -cueReachDays), cueReachDays)
	}
	return p
}
