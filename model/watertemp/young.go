package watertemp

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// withinSD is the standard deviation, °C, of what a departure's factors leave where they
// are known, and moreSpread by how much more a river left out departs than its fellows
// foretell than those behind the table do from each other, in variance. Both by
// groups of rivers left out (see RESULTS.md).
const withinSD, moreSpread = 0.85, 1.0

// learn takes in what rivers alike foretell of a river, and what its own readings say of
// that, be they ever so few.
func (m *Model) learn(in Input, logFlow []float64) {
	m.departs, m.alikeness = nil, 0
	shown, ok := m.shown(in, logFlow)
	if !ok || !m.northern() {
		return
	}
	d := m.departureTerms()
	l := learnt.of(&shown)
	factors, variance := l.foretell(shown)
	d.factors = factors
	m.alikeness = 1 + own - variance
	m.shows, m.Params = shown, m.regional() // without what a donor adds where nothing is learnt
	if m.FromDonor = m.donor != nil && d.addDonor(&shown, m.donor) >= leastDonorShare; !m.FromDonor {
		m.Grade = PriorAlone
	}
	rows, sim := m.rows(in)
	var spread mat.SymDense
	spread.ScaleSym(moreSpread*variance, l.spread)
	if readings := d.update(&spread, rows, sim, in.Water); readings > 0 {
		m.Days = readings
		m.Grade = PriorCorrected
	}
	m.departs = &d
	m.Error = d.error(&spread, rows, in.Day0)
}

// donorSurprise is by how much a donor's water departs from what rivers alike foretold of it.
type donorSurprise struct {
	shown    [nShown]float64
	surprise [nDeparture]float64
	km       float64 // how far away it is
}

// AsDonor returns the model of a river as a donor to another river km away; in is the
// record it was fitted to.
func (m Model) AsDonor(in Input, km float64) *Model {
	withoutWater := in
	withoutWater.Water = slices.Repeat([]float64{math.NaN()}, len(in.Air))
	before, after := Prior(nil).At(withoutWater), Prior(nil).At(in)
	if before.departs != nil {
		m.asDonor = &donorSurprise{shown: before.shows, km: km}
		floats.SubTo(m.asDonor.surprise[:], after.departs.factors[:], before.departs.factors[:])
	}
	return &m
}

// donorReachKm is how far, km, a river's surprises reach. Over the gauges, with groups left
// out, a river shared 0.7 of the surprise of one much alike (more than 0.75) within 25 km,
// 0.2 of one unlike, and none beyond 75 km (see RESULTS.md).
const donorReachKm = 40.0

// leastDonorShare is the share of a donor's surprise from which on the donor is named.
const leastDonorShare = 0.05

// addDonor adds a donor's surprise, the more the nearer and the more alike it is.
func (d *departure) addDonor(shown *[nShown]float64, donor *donorSurprise) (share float64) {
	l := learnt.of(shown, &donor.shown)
	here, there := l.scaled(*shown), l.scaled(donor.shown)
	share = l.likeness(&here, &there) * math.Exp(-square(donor.km/donorReachKm))
	floats.AddScaled(d.factors[:], share, donor.surprise[:])
	return share
}

// Likeness says in words how far the rivers that were learnt from speak for a river
// without a fit; "" of a fitted one. Its limits are our own default.
func (m *Model) Likeness() string {
	const caveat = " A dam, a large spring or a glacier does not always show in air and flow: below one the model may be off by 3 °C or more."
	if !m.unfitted {
		return ""
	}
	n := len(learnt.of(&m.shows).rivers)
	switch {
	case !m.northern():
		return "The warm season falls at the other end of the year here: no river behind this model is like it, and its error is hardly known."
	case m.departs == nil:
		return "Too little of its flow is known to compare it with the rivers behind this model." + caveat
	case m.alikeness > 0.6:
		return fmt.Sprintf("Its air and flow are much like those of some of the %d rivers behind this model.", n) + caveat
	case m.alikeness > 0.35:
		return fmt.Sprintf("Its air and flow are somewhat like those of some of the %d rivers behind this model.", n) + caveat
	}
	return fmt.Sprintf("Its air and flow are unlike those of all %d rivers behind this model: expect a larger error.", n) + caveat
}

// WithReadings is what the standard deviation of the error, °C, of a model that was not
// fitted would come to if the water were also read on the days of a record from one index
// to another. NaN where that is unknown.
func (m Model) WithReadings(in Input, from, to int) float64 {
	m = m.At(in)
	if m.departs == nil {
		return math.NaN()
	}
	d := *m.departs
	l := learnt.of(&m.shows)
	_, variance := l.foretell(m.shows)
	var spread mat.SymDense
	spread.ScaleSym(moreSpread*variance, l.spread)
	rows, sim := m.rows(in)
	water := slices.Clone(in.Water)
	copy(water[from:to], sim[from:to]) // what they say does not matter here
	d.update(&spread, rows, sim, water)
	return d.error(&spread, rows, in.Day0).SD
}

// northern reports whether the air is warmest between May and October, as it is at all
// rivers behind the tables. A season turned round is unlike all of them.
func (m *Model) northern() bool { return m.Air[1] < 0 }

// update moves the factors and their spread by a river's own readings: the regression
// under a normal prior, each day worth as little as in a fit.
func (d *departure) update(spread *mat.SymDense, rows []row, sim, water []float64) (readings int) {
	n, y := mat.NewSymDense(nDeparture, nil), mat.NewVecDense(nDeparture, nil)
	for i, w := range water {
		if unknown(w) {
			continue
		}
		readings++
		x := d.terms(&rows[i])
		v := mat.NewVecDense(nDeparture, x[:])
		off := w - sim[i] - d.at(&rows[i])
		weight := dayWorth / (withinSD * withinSD)
		if far := outlier * math.Sqrt(mat.Inner(v, spread, v)+withinSD*withinSD); math.Abs(off) > far {
			weight *= far / math.Abs(off) // sensors do fall dry
		}
		n.SymRankOne(n, weight, v)
		y.AddScaledVec(y, weight*off, v)
	}
	if readings == 0 {
		return 0
	}
	var c mat.Cholesky
	var precision, after mat.SymDense
	if !c.Factorize(spread) || c.InverseTo(&precision) != nil {
		return 0
	}
	precision.AddSym(&precision, n)
	var off mat.VecDense
	if !c.Factorize(&precision) || c.SolveVecTo(&off, y) != nil || c.InverseTo(&after) != nil {
		return 0
	}
	for j := range d.factors {
		d.factors[j] += off.AtVec(j)
	}
	spread.CopySym(&after)
	return readings
}

// error is that of a model with such a spread of its departure: as much of it as lasts is
// slow.
func (d *departure) error(spread *mat.SymDense, rows []row, day0 int) Error {
	variance := make([]float64, len(rows))
	sum, n := 0.0, 0.0
	const every = 5 // days: it goes with the season
	for i := range rows {
		variance[i] = math.NaN()
		if i%every == 0 {
			x := d.terms(&rows[i])
			v := mat.NewVecDense(nDeparture, x[:])
			variance[i] = mat.Inner(v, spread, v)
			sum += variance[i]
			n++
		}
	}
	slow := sum / n
	all := slow + withinSD*withinSD
	for i := range variance {
		variance[i] = (variance[i] + withinSD*withinSD) / all
	}
	y, _ := yearOf(day0, variance)
	y[0] = 1
	return Error{SD: math.Sqrt(all), Variance: y, Slow: slow / all, SlowKeeps: priorKeeps, Fast: 0.7}
}

// blendRegional gives a model of rivers alike its share in a fit to less than a year of readings:
// all of it where a fit is first made, so that nothing jumps, and less from day to day
// until a whole year stands alone.
func (m *Model) blendRegional(p Model) {
	if p.departs == nil {
		return
	}
	share := float64(WholeYear-m.Days) / float64(WholeYear-MinDays)
	share = min(max(share, 0), 1)
	m.beside, m.besideShare = &p, share*share*share
	m.Error = m.Error.mixed(p.Error, m.besideShare)
}

// together is how alike the errors of a fit to few readings and of the rivers alike are:
// their correlation. Chosen on the fitted years of the gauges (see RESULTS.md).
const errorsTogether = 0.6

// mixed is the error of two models together, of which the other has such a share.
func (e Error) mixed(o Error, share float64) Error {
	mix := func(a, b float64) float64 { return a + share*(b-a) }
	one, other := (1-share)*e.SD, share*o.SD
	out := Error{SD: math.Sqrt(one*one + other*other + 2*errorsTogether*one*other)}
	for i := range out.Variance {
		out.Variance[i] = mix(e.Variance[i], o.Variance[i])
	}
	out.Slow, out.Fast, out.SlowKeeps = mix(e.Slow, o.Slow), mix(e.Fast, o.Fast), mix(e.SlowKeeps, o.SlowKeeps)
	return out
}
