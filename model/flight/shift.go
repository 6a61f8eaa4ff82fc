package flight

import "math"

// Season is what was recorded of one group in the season under way.
type Season struct {
	Days   []int  // of the season-year, up to today
	Window Window // of past seasons
}

// shiftSD is how far seasons differ from the mean season, days: about what the
// dates of Hopkins's rule do between warm and cold years. Our own default.
const shiftSD = 7.0

// farthestShift is how far a season may be off, days.
const farthestShift = 30

// Shift is by how many days the season under way is late, negative for early,
// common to all groups of a region: from the days of the records up to today,
// with effort taken out. Days without a record say what their effort says.
func Shift(groups []Season, effort Effort, today int) Range {
	var weight [2*farthestShift + 1]float64
	top := math.Inf(-1)
	for i := range weight {
		d := float64(i - farthestShift)
		weight[i] = -d * d / (2 * shiftSD * shiftSD)
		for _, g := range groups {
			weight[i] += g.logLike(d, &effort, today)
		}
		top = math.Max(top, weight[i])
	}
	sum := 0.0
	for i, w := range weight {
		weight[i] = math.Exp(w - top)
		sum += weight[i]
	}
	var out Range
	at := 0.0
	for i, w := range weight {
		before := at
		at += w / sum
		for _, q := range []struct {
			share float64
			to    *float64
		}{{0.1, &out.Low}, {0.5, &out.Mid}, {0.9, &out.High}} {
			if before < q.share && at >= q.share {
				*q.to = float64(i-farthestShift) - 0.5 + (q.share-before)/(at-before)
			}
		}
	}
	return out
}

func (g Season) logLike(shift float64, effort *Effort, today int) float64 {
	mode := g.Window.Median.Mid + shift
	left := math.Max(2, (g.Window.Median.Mid-g.Window.Start.Mid)/z90)
	right := math.Max(2, (g.Window.End.Mid-g.Window.Median.Mid)/z90)
	curve := func(day int) float64 {
		sd := left
		if float64(day) > mode {
			sd = right
		}
		x := (float64(day) - mode) / sd
		return math.Exp(-x * x / 2)
	}
	active, all := 0.0, 0.0
	for d := 1; d <= min(today, Year); d++ {
		active += effort[d-1] * curve(d)
		all += effort[d-1]
	}
	if active <= 0 || all <= 0 {
		return 0
	}
	sum := 0.0
	for _, d := range g.Days {
		if d >= 1 && d <= today {
			sum += math.Log((1-wrong)*curve(d)/active + wrong/all)
		}
	}
	return sum
}
