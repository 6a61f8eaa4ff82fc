package flow

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// knots are the leads, in days, at which the members are corrected; between two the
// correction is on a line, after the last it stays.
var knots = [...]int{1, 2, 3, 5, 7, 10, 14, 20, 30}

const numKnots = len(knots)

// A Correction sets the members right by lead, in log flow. The median moves to
//
//	climatology + Own (median - climatology) + Today (today's anomaly) + Shift
//
// since a model whose factors come from few years errs less when mixed with
// persistence; then members above the median stand off from it by the factor Above,
// those below by Below.
//
// Before that, bands are drawn towards the width usual at the lead, whose logarithm is
// Usual: Trust is the share of their own in the logarithm of the width.
type Correction struct{ Own, Today, Shift, Above, Below, OwnWidth, UsualLogWidth float64 }

// noCorrection leaves members as they are.
var noCorrection = Correction{Own: 1, Above: 1, Below: 1, OwnWidth: 1}

// between is the correction at a lead in days.
func between(c *[numKnots]Correction, lead int) Correction {
	for k := 1; k < numKnots; k++ {
		if lead <= knots[k] {
			f := float64(max(lead, knots[0])-knots[k-1]) / float64(knots[k]-knots[k-1])
			a, b := c[k-1], c[k]
			mix := func(x, y float64) float64 { return x + f*(y-x) }
			return Correction{mix(a.Own, b.Own), mix(a.Today, b.Today), mix(a.Shift, b.Shift), mix(a.Above, b.Above), mix(a.Below, b.Below), mix(a.OwnWidth, b.OwnWidth), mix(a.UsualLogWidth, b.UsualLogWidth)}
		}
	}
	return c[numKnots-1]
}

// correct applies the corrections to rows of log flow from a day on, after a day of
// an anomaly.
func (m *Model) correct(rows [][]float64, day int, today float64) {
	column, order := make([]float64, len(rows)), make([]int, len(rows))
	for k := range order {
		order[k] = k
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(rows[a][0], rows[b][0]) })
	for d := range rows[0] {
		sortColumn(column, order, rows, d)
		middle := quantile(column, 0.5)
		c := between(&m.corrections, d+1)
		// A band wider than is usual at this lead is narrowed, one less wide widened.
		wide := max(quantile(column, 0.9)-quantile(column, 0.1), 2*leastHalf)
		evens := math.Exp((1 - c.OwnWidth) * (c.UsualLogWidth - math.Log(wide)))
		climate := m.climate.at(day + d)
		to := climate + c.Own*(middle-climate) + c.Today*today + c.Shift
		for _, row := range rows {
			e := row[d] - middle
			if e > 0 {
				row[d] = to + evens*c.Above*e
			} else {
				row[d] = to + evens*c.Below*e
			}
		}
	}
}

// sortColumn fills column with the day's values of all rows, sorted. order holds the rows in
// the order of the day before, which is nearly that of the day: few have to change places.
func sortColumn(column []float64, order []int, rows [][]float64, d int) {
	for i, k := range order {
		v := rows[k][d]
		for ; i > 0 && column[i-1] > v; i-- {
			column[i], order[i] = column[i-1], order[i-1]
		}
		column[i], order[i] = v, k
	}
}

// quantile of sorted values, on a line between neighbours.
func quantile(sorted []float64, p float64) float64 {
	x := p * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

// A case is a hindcast of a year left out of the fit at one knot: anomalies of log
// flow.
type outcome struct{ low, median, high, today, observed float64 }

// Hindcasts of left-out years: how many years at most, an issue every so many days,
// of so many members. Our own defaults, for a fit within a tenth of a second.
const leftOutYears, leftOutEvery, leftOutMembers = 5, 6, 50

// leaveOut forecasts each of some years with a model of all others.
func leaveOut(in Input, prior *Prior, lapse float64) (out [numKnots][]outcome) {
	n := len(in.Flow)
	years := n / 365
	if years < 2 {
		return out
	}
	blocks := min(years, leftOutYears)
	for b := range blocks {
		year := b * years / blocks
		from, to := year*365, (year+1)*365
		if year == years-1 {
			to = n
		}
		without := in
		without.Flow = slices.Clone(in.Flow)
		for i := from; i < to; i++ {
			without.Flow[i] = math.NaN()
		}
		m, err := fitPlain(without, prior, []float64{lapse})
		if err != nil {
			continue
		}
		m.hindcastBlock(in, from, to, &out)
	}
	return out
}

func (m *Model) hindcastBlock(in Input, from, to int, out *[numKnots][]outcome) {
	days := knots[numKnots-1]
	rng := rand.New(rand.NewPCG(uint64(from), 21))
	column := make([]float64, leftOutMembers)
	known := m.pastOf(in)
	for i := from + 1 + rng.IntN(leftOutEvery); i+days <= to; i += leftOutEvery {
		if unknown(in.Flow[i-1]) {
			continue
		}
		futures := otherYears(in, i, from, to, days, leftOutMembers)
		history := in.until(i)
		rows := m.members(history, known, futures, days, uint64(i))
		if rows == nil {
			continue
		}
		today := m.log(in.Flow[i-1]) - m.climate.at(in.Day0+i-1)
		for k, lead := range knots {
			y := m.log(in.Flow[i+lead-1])
			if unknown(y) {
				continue
			}
			for j, row := range rows {
				column[j] = row[lead-1]
			}
			slices.Sort(column)
			c := m.climate.at(in.Day0 + i + lead - 1)
			out[k] = append(out[k], outcome{quantile(column, 0.1) - c, quantile(column, 0.5) - c, quantile(column, 0.9) - c, today, y - c})
		}
	}
}

// until is the history before the i-th day.
func (in Input) until(i int) Input {
	out := Input{Day0: in.Day0, Flow: in.Flow[:i]}
	if in.Air != nil {
		out.Air = in.Air[:i]
	}
	if in.Rain != nil {
		out.Rain = in.Rain[:i]
	}
	return out
}

// otherYears are futures from the weather of the same date in years that touch
// neither the days from one to another nor the ends of the record.
func otherYears(in Input, i, from, to, days, n int) []Future {
	var some []Future
	total := len(in.Flow)
	for k := -total/365 - 1; k <= total/365+1; k++ {
		at := i + int(math.Round(365.25*float64(k)))
		if at < 0 || at+days > total || at < to && at+days > from {
			continue
		}
		f := Future{Like: in.Day0 + at}
		if in.Air != nil {
			f.Air = in.Air[at : at+days]
		}
		if in.Rain != nil {
			f.Rain = in.Rain[at : at+days]
		}
		some = append(some, f)
	}
	if len(some) == 0 {
		some = []Future{{Like: in.Day0 + i}}
	}
	out := make([]Future, n)
	for k := range out {
		out[k] = some[k%len(some)]
	}
	return out
}

// calibration gathers outcomes of a knot to fit a Correction.
type calibration struct {
	cases []outcome
	eq    *normalEquations // of the outcome on median, today's anomaly and 1
}

func newCalibration(cases []outcome) calibration {
	c := calibration{cases, newNormal(3)}
	for _, o := range cases {
		c.eq.add([]float64{o.median, o.today, 1}, o.observed, 1)
	}
	return c
}

// ownCases is how many hindcasts of its own a gauge needs to count as much as the
// pool: those of one year follow each other and are far from independent. Our own
// default.
const ownCases = 400.0

// fit returns the correction under the pool's.
func (c *calibration) fit(pool Correction) Correction {
	n := float64(len(c.cases))
	if n < 30 {
		pool.OwnWidth = 1 // the usual width is not known
		return pool
	}
	// The prior counts as ownCases cases that obey the pool's correction exactly, at
	// the spread of these cases.
	e := newNormal(3)
	copy(e.xx, c.eq.xx)
	copy(e.xy, c.eq.xy)
	more := ownCases / n
	b := []float64{pool.Own, pool.Today, pool.Shift}
	for j := range 3 {
		for k := j; k < 3; k++ {
			v := more * c.eq.xx[j*3+k]
			if j == k {
				v += more * n * 0.01
			}
			e.xx[j*3+k] += v
			e.xy[j] += v * b[k]
			if k != j {
				e.xy[k] += v * b[j]
			}
		}
	}
	v, _ := e.solve(nil, make([]float64, 3))
	out := Correction{Own: v[0], Today: v[1], OwnWidth: pool.OwnWidth, UsualLogWidth: c.usual()}
	w := n / (n + ownCases)
	out.Shift = w*c.shift(out) + (1-w)*pool.Shift
	above, below := c.spread(out)
	out.Above = math.Exp(w*math.Log(above) + (1-w)*math.Log(pool.Above))
	out.Below = math.Exp(w*math.Log(below) + (1-w)*math.Log(pool.Below))
	return out
}

// shift returns what makes half of the outcomes lie above the corrected median.
func (c *calibration) shift(at Correction) float64 {
	e := make([]float64, len(c.cases))
	for i, o := range c.cases {
		e[i] = o.observed - (at.Own*o.median + at.Today*o.today)
	}
	slices.Sort(e)
	return quantile(e, 0.5)
}

// spread returns by how much the 10 and 90 % points must stand farther from the
// corrected median for a tenth of the outcomes to lie beyond each.
func (c *calibration) spread(at Correction) (above, below float64) {
	up, down := c.standoffs(at)
	slices.Sort(up)
	slices.Sort(down)
	bound := func(v float64) float64 { return min(max(v, 0.5), 4) }
	return bound(quantile(up, 0.9)), bound(quantile(down, 0.9))
}

// standoffs are how far the outcomes lie above and below the corrected median, in
// half bands; 0 on the other side.
func (c *calibration) standoffs(at Correction) (up, down []float64) {
	up, down = make([]float64, len(c.cases)), make([]float64, len(c.cases))
	for i, o := range c.cases {
		e := o.observed - (at.Own*o.median + at.Today*o.today + at.Shift)
		evens := math.Exp((1 - at.OwnWidth) * (at.UsualLogWidth - o.logWidth()))
		up[i] = max(0, e) / max(evens*(o.high-o.median), leastHalf)
		down[i] = max(0, -e) / max(evens*(o.median-o.low), leastHalf)
	}
	return up, down
}

func (o *outcome) logWidth() float64 { return math.Log(max(o.high-o.low, 2*leastHalf)) }

// usual is the mean logarithm of the width of the band.
func (c *calibration) usual() float64 {
	s := 0.0
	for i := range c.cases {
		s += c.cases[i].logWidth()
	}
	return s / float64(len(c.cases))
}

// leastHalf is the least half width of a band, in log flow: a gauge's rounding.
const leastHalf = 0.005

// correctFrom sets the model's corrections from its left-out years under the pool's.
// They come from models of one year less than this one has.
func (m *Model) correctFrom(left [numKnots][]outcome, prior *Prior) {
	years := max(2, m.Years)
	for k := range left {
		c := newCalibration(left[k])
		m.corrections[k] = c.fit(prior.Corrections[k].scaled(poolYears / (years - 1))).scaled((years - 1) / years)
	}
}

// poolYears is of how many years the models were that the pool's corrections come from.
const poolYears = 2.0

// scaled is the correction of a model of more or fewer years: what it corrects is the
// error of the factors, whose variance goes with one over the years.
func (c Correction) scaled(by float64) Correction {
	by = min(by, 2)
	wide := func(v float64) float64 { return math.Sqrt(max(0.25, 1+(v*v-1)*by)) }
	return Correction{1 + (c.Own-1)*by, c.Today * by, c.Shift, wide(c.Above), wide(c.Below), c.OwnWidth, c.UsualLogWidth}
}
