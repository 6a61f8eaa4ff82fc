package flight

import "math"

// Season is what was recorded of one group in the season under way.
type Season struct {
	Records []Record // up to today
	Window  Window   // of past seasons
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

// ShiftEvidence is what the records of one group tell of its own season, beside what is
// usual of seasons: by how many days it is late, and the variance of that, days².
// It says false where they tell next to nothing.
func (g Season) ShiftEvidence(effort Effort, today int) (late, variance float64, ok bool) {
	r := Shift([]Season{g}, effort, today)
	sd := r.Width() / (2 * z80)
	if !(sd*sd < maxVarianceShare*shiftSD*shiftSD) {
		return 0, 0, false
	}
	variance = 1 / (1/(sd*sd) - 1/(shiftSD*shiftSD))
	return variance * r.Mid / (sd * sd), variance, true
}

// maxVarianceShare is the share of a season's own variance above which records are taken to
// tell nothing. Our own default, as in the joint model.
const maxVarianceShare = 0.9

func (g Season) logLike(shift float64, effort *Effort, today int) float64 {
	left := math.Max(2, (g.Window.Median.Mid-g.Window.Start.Mid)/z90)
	right := math.Max(2, (g.Window.End.Mid-g.Window.Median.Mid)/z90)
	curve := func(day int, mode float64) float64 {
		sd := left
		if float64(day) > mode {
			sd = right
		}
		x := (float64(day) - mode) / sd
		return math.Exp(-x * x / 2)
	}
	all := 0.0
	for d := 1; d <= min(today, Year); d++ {
		all += effort[d-1]
	}
	if all <= 0 {
		return 0
	}
	active := map[float64]float64{} // by mode: places differ
	sum := 0.0
	for _, r := range g.Records {
		if r.Day < 1 || r.Day > today {
			continue
		}
		place := r.North*g.Window.PerDegree.Days + r.Up*g.Window.Per100M.Days
		mode := g.Window.Median.Mid + shift + math.Round(math.Max(-farthest, math.Min(farthest, place)))
		a, ok := active[mode]
		if !ok {
			for d := 1; d <= min(today, Year); d++ {
				a += effort[d-1] * curve(d, mode)
			}
			active[mode] = a
		}
		if a > 0 {
			sum += math.Log((1-wrong)*curve(r.Day, mode)/a + wrong/all)
		}
	}
	return sum
}
