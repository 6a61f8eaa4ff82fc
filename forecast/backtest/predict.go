package backtest

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"example.org/eclose/model/phenology"
)

// forecast is the hindcast of the fold's season for each series that has it.
func (f *fold) forecast(m phenology.YearModel) ([]Forecast, error) {
	years, err := m.Learn(f.cases)
	if err != nil {
		return nil, err
	}
	var to []phenology.YearCase
	var of []int
	var seasons []*Season
	for i := range f.lines {
		l := &f.lines[i]
		for k := range l.s.Seasons {
			if x := &l.s.Seasons[k]; x.Year == f.year {
				c := l.caseOf(x, i)
				c.Noise = 0 // how many were caught is not known beforehand
				to, of, seasons = append(to, c), append(of, i), append(seasons, x)
			}
		}
	}
	if len(to) == 0 {
		return nil, nil
	}
	joint, err := years.Predict(to)
	if err != nil {
		return nil, err
	}
	modelWeight, width, shape, err := f.errorShape(years)
	if err != nil {
		return nil, err
	}
	var out []Forecast
	for a := range to {
		l := &f.lines[of[a]]
		var knownTo []int
		var z []float64
		for b := range to {
			other := &f.lines[of[b]]
			if b == a || !f.over(other, l) {
				continue
			}
			// What was caught after the issue is not looked at.
			c := catchOf(seasons[b].until(l.issue), f.year, other.s.hours)
			if c.animals < leastKnown {
				continue
			}
			knownTo = append(knownTo, b)
			z = append(z, max(-clip, min(clip, (float64(c.quantile(0.5))-other.mid)/other.scale)))
		}
		mu, v, err := joint.Given(a, knownTo, z)
		if err != nil {
			return nil, err
		}
		usual := (l.calendar - l.mid) / l.scale
		mu = usual + modelWeight[of[a]]*(mu-usual)
		fc := Forecast{
			Taxon: l.s.Taxon, Site: l.s.Site, Year: f.year, Issue: l.issue, Observed: float64(seasons[a].Median),
			Water: l.byWater != nil && !math.IsNaN(l.byWater(f.year)),
			Model: l.mid + l.scale*mu, Calendar: l.calendar, CalendarSD: l.calendarSD,
		}
		for _, e := range shape {
			fc.Members = append(fc.Members, l.mid+l.scale*(mu+math.Sqrt(v)*width[of[a]]*e))
		}
		out = append(out, fc)
	}
	return out, nil
}

// leastKnown is how many animals make another taxon's season count as seen.
const leastKnown = 20

// over tells whether a taxon's season is usually over when a forecast for
// another is issued.
func (f *fold) over(other, l *line) bool { return f.opt.Others && other.end <= float64(l.issue) }

// errorShape learns from the seasons of the fit, each left out in turn, how far the
// dates really fall from the forecast, in the forecast's own standard
// deviations: the width for each line, partly pooled, and the shape, common to
// all, as equally likely values in order.
func (f *fold) errorShape(years *phenology.Years) (modelWeight, width, shape []float64, err error) {
	byYear := map[int][]int{}
	for i, c := range f.cases {
		byYear[c.Year] = append(byYear[c.Year], i)
	}
	var keys []int
	for y := range byYear {
		keys = append(keys, y)
	}
	slices.Sort(keys)
	groups := make([][]int, len(keys))
	for i, y := range keys {
		groups[i] = byYear[y]
	}
	joints, err := years.LeaveOut(groups)
	if err != nil {
		return nil, nil, nil, err
	}
	var means, sds, miss, all []float64
	var of, line []int
	for g, idx := range groups {
		for a, i := range idx {
			var knownTo []int
			var z []float64
			for b, j := range idx {
				if b != a && f.over(&f.lines[f.of[j]], &f.lines[f.of[i]]) {
					knownTo, z = append(knownTo, b), append(z, f.cases[j].Z)
				}
			}
			mu, v, err := joints[g].Given(a, knownTo, z)
			if err != nil {
				return nil, nil, nil, err
			}
			means, sds = append(means, mu), append(sds, math.Sqrt(v))
			of, line = append(of, i), append(line, f.of[i])
		}
	}
	modelWeight, fitted := f.modelWeights(of, means)
	for k, i := range of {
		u := f.calendarWithout(i)
		miss = append(miss, (f.full[i]-u-modelWeight[line[k]]*(means[k]-u))/sds[k])
	}
	const worth = 8.0 // seasons that the common width is worth
	sum, n := make([]float64, len(f.lines)), make([]float64, len(f.lines))
	width = make([]float64, len(f.lines))
	for k, e := range miss {
		sum[line[k]] += min(e*e, 9)
		n[line[k]]++
	}
	for i := range width {
		width[i] = math.Sqrt((worth + sum[i]) / (worth + n[i]))
		// Usual date, centres and trust were made with the season left out: its
		// miss looks smaller, by (n-k)/n for k figures fitted, than that of a
		// season to come, (n+1)/n.
		width[i] *= math.Sqrt((n[i] + 1) / math.Max(n[i]-1-fitted[i], 1))
	}
	for k, e := range miss {
		e /= math.Sqrt((worth + sum[line[k]]) / (worth + n[line[k]]))
		all = append(all, e, -e)
	}
	return modelWeight, width, shapeOf(all), nil
}

// shapeOf is the common shape as members at the middle of equal slices of
// chance: the quantiles of the misses, mixed with those of Student's t with 5
// degrees of freedom (heavier than normal, as one odd season in twenty has it)
// by a weight that grows with their number.
func shapeOf(all []float64) []float64 {
	const members = 99
	slices.Sort(all)
	t := distuv.StudentsT{Sigma: math.Sqrt(3.0 / 5), Nu: 5} // of variance 1
	w := float64(len(all)) / (float64(len(all)) + 100)
	out := make([]float64, members)
	for i := range out {
		q := (float64(i) + 0.5) / members
		out[i] = (1 - w) * t.Quantile(q)
		if len(all) > 0 {
			at := q*float64(len(all)) - 0.5
			lo := max(0, min(len(all)-1, int(math.Floor(at))))
			hi := min(lo+1, len(all)-1)
			out[i] += w * (all[lo] + (all[hi]-all[lo])*max(0, min(1, at-float64(lo))))
		}
	}
	return out
}

// Trust in the model against the calendar before any season was forecast, and
// what that belief is worth: so many seasons in which the model says one
// standard deviation. Our own defaults.
const (
	modelWeightPrior   = 0.8
	modelWeightSeasons = 2.0
)

// modelWeights is how far each line goes from the calendar towards the model, 0 to 1:
// the share that, in the seasons of the fit left out in turn, would have missed
// least, drawn towards modelWeightPrior, less its own standard error, because to be
// worse than the calendar costs more than to be no better. Where the model says
// nothing of proven use the trust is 0, and the calendar stands. fitted is how much of one
// figure the fit of each trust was, the rest being prior belief.
func (f *fold) modelWeights(of []int, means []float64) (modelWeight, fitted []float64) {
	n := len(f.lines)
	up, down, left, count := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	predicted, was := make([]float64, len(of)), make([]float64, len(of))
	for k, i := range of {
		u := f.calendarWithout(i)
		predicted[k], was[k] = means[k]-u, max(-clip, min(clip, f.full[i]-u))
		up[f.of[i]] += predicted[k] * was[k]
		down[f.of[i]] += predicted[k] * predicted[k]
	}
	out := make([]float64, n)
	fitted = make([]float64, n)
	for l := range out {
		fitted[l] = down[l] / (down[l] + modelWeightSeasons)
		out[l] = (up[l] + modelWeightSeasons*modelWeightPrior) / (down[l] + modelWeightSeasons)
	}
	for k, i := range of {
		l := f.of[i]
		e := was[k] - out[l]*predicted[k]
		left[l] += e * e
		count[l]++
	}
	for l := range out {
		se := math.Sqrt((left[l] + 1) / (count[l] + 1) / (down[l] + modelWeightSeasons))
		out[l] = max(0, min(1, out[l]-se))
	}
	return out, fitted
}

// calendarWithout is the calendar without one of the cases learnt from, in the
// line's standard deviations.
func (f *fold) calendarWithout(i int) float64 {
	l := &f.lines[f.of[i]]
	n := float64(len(l.train))
	all := (l.calendar - l.mid) / l.scale
	return (n*all - f.full[i]) / (n - 1)
}
