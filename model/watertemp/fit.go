package watertemp

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// Options of a fit.
type Options struct {
	Seed   uint64
	Starts int // 0: 5
	// Donor, if set, has its say as long as less than a year of readings is there: see
	// Prior.
	Donor *Model
}

// MinDays is how many days of water temperature with air a fit needs where the air is
// known for WholeYear or more: the prior holds what two months cannot tell, and such a
// fit misses the days to come by far less than none does (see RESULTS.md). Our own
// default.
const MinDays = 60

// WholeYear is how many days of both a fit needs where the air is known for less than
// that: then even the climate is not known. Our own default.
const WholeYear = 365

// TooLittleError says how much a fit lacks.
type TooLittleError struct{ Have, Need int }

func (e *TooLittleError) Error() string {
	return fmt.Sprintf("fitting water temperature: %d of %d days with water and air temperature (%d missing)", e.Have, e.Need, e.Need-e.Have)
}

const (
	// dayWorth is how much of an independent observation a day is: residuals
	// last. Chosen on the calibration years of the gauges kept for that.
	dayWorth = 0.1
	// warmup is how many days after the start do not count, nor after a gap of
	// the air, up to its length.
	warmup = 20
	// scout is how many steps each start is given before the best goes on, on so many
	// days of the record: enough to tell valleys apart.
	scout, scoutDays = 4, 4 * 365
	// outlier is the residual, in standard deviations, beyond which a day's
	// weight falls: sensors do fall dry.
	outlier = 2.5
	// reweighs is how often weights and noise are worked out anew.
	reweighs = 3
)

// Fit finds the parameters of a reach by least squares under the pooled prior,
// centred on rivers in such a climate, from several starts. It is deterministic
// for a seed.
func Fit(in Input, o Options) (Model, error) {
	f, err := newFitter(in)
	if err != nil {
		return Model{}, err
	}
	if o.Starts == 0 {
		o.Starts = 5
	}
	rng := rand.New(rand.NewPCG(o.Seed, 4))
	best := math.Inf(1)
	var at Params
	some := f.first(scoutDays)
	for s := range o.Starts {
		p := f.b.drawn(f.middle, rng.NormFloat64, 0.7)
		for a, sds := range valleys[s%len(valleys)] {
			p[a] += sds * f.b.sd(a)
		}
		some.damping = firstDamping
		if p, cost := some.descend(p, scout, nearly); cost < best {
			best, at = cost, p
		}
	}
	f.polish(at)
	if f.m.Partial() {
		f.m.blendRegional(Prior(o.Donor).At(in))
	}
	return f.m, nil
}

// valleys are where the starts lie about the mean of the prior, in spreads of the
// two rates. Whether the surface or the inflow is the quick one can make a valley of
// its own (it does on the Rhone): starts lie on both sides and between.
var valleys = [...][2]float64{{}, {-1, 1.5}, {1, -1.5}, {0, 1.5}, {0, -1.5}}

// Partial reports whether less than a year of readings stands behind a fit.
func (m *Model) Partial() bool { return !m.unfitted && m.Days < WholeYear }

// Young reports whether a record has less than a whole year of days for a fit.
func Young(in Input) bool { return len(in.useful()) < WholeYear }

// Enough reports whether a record has what a fit needs: a *TooLittleError if not.
func Enough(in Input) error { return enough(in, in.useful()) }

func enough(in Input, use []int) error {
	airs := 0
	for _, a := range in.Air {
		if !unknown(a) {
			airs++
		}
	}
	need := MinDays
	if airs < WholeYear {
		need = WholeYear
	}
	if len(use) < need {
		return &TooLittleError{Have: len(use), Need: need}
	}
	return nil
}

// useful are the days whose residual counts: those of water and air, when the air has
// been known for long enough.
func (in Input) useful() (use []int) {
	gap := warmup
	for i := range in.Air {
		switch {
		case unknown(in.Air[i]):
			gap = min(gap+1, warmup)
		case gap > 0:
			gap--
		case !unknown(in.Water[i]):
			use = append(use, i)
		}
	}
	return use
}

type fitter struct {
	in     Input
	b      *prior
	middle Params // of the prior, in such a climate
	m      Model
	rows   []row
	h      harmonics
	use    []int     // days whose residual counts
	weight []float64 // of those days
	noise  float64   // variance of a residual, °C2
	start  float64
	sim    []float64
	// damping is what the next descent begins with: what the last one near by
	// ended with.
	damping float64
	// The normal equations of the last call of normal.
	jtj [nParam][nParam]float64
	jtr [nParam]float64
}

// newFitter prepares a fit and the part of the model that needs none.
func newFitter(in Input) (*fitter, error) {
	if err := in.check(); err != nil {
		return nil, fmt.Errorf("fitting water temperature: %w", err)
	}
	f := &fitter{in: in, noise: 1, m: Model{Grade: Fitted}}
	f.use = in.useful()
	if err := enough(in, f.use); err != nil {
		return nil, err
	}
	f.m.fitDescriptors(in, f.m.localize(in))
	f.b, f.middle = pooled, f.m.regional()
	f.weight = make([]float64, len(f.use))
	for k := range f.weight {
		f.weight[k] = 1
	}
	n := len(in.Air)
	f.m.Days, f.m.Years = len(f.use), float64(len(f.use))/365.25
	if f.m.Partial() {
		f.m.Grade = FittedShort
	}
	air, flow := f.m.forcing(in.Day0, in.Air, in.Flow)
	f.rows, f.sim = make([]row, n), make([]float64, n)
	f.h = harmonicsOf(in.Day0, n)
	mem := f.m.begin(in.Day0)
	for i := range f.rows {
		q := 0.0
		if flow != nil {
			q = flow[i]
		}
		mem.day(&f.rows[i], f.m.Air[0], air[i], q, f.h.cos[i], f.h.sin[i])
	}
	f.start = max(0, firstKnown(in.Water))
	return f, nil
}

// first is the fitter of the first days whose residual counts.
func (f *fitter) first(days int) *fitter {
	g := *f
	g.use = f.use[:min(days, len(f.use))]
	g.rows = f.rows[:g.use[len(g.use)-1]+1]
	return &g
}

// cost is the weighted square sum of the residuals and of the distance from the
// prior.
func (f *fitter) cost(p *Params) float64 {
	k, t := p.rates(f.m.Air[0]), f.start
	sum, next := 0.0, 0
	for i := range f.rows {
		t = k.step(t, &f.rows[i])
		if next < len(f.use) && f.use[next] == i {
			r := t - f.in.Water[i]
			sum += f.weight[next] * r * r
			next++
		}
	}
	sum *= dayWorth / f.noise
	for a := range p {
		sum += (p[a] - f.middle[a]) * f.pull(p, a)
	}
	return sum
}

// pull is a row of the precision times the distance from the prior.
func (f *fitter) pull(p *Params, a int) float64 {
	s := 0.0
	for b := range p {
		s += f.b.precision[a][b] * (p[b] - f.middle[b])
	}
	return s
}

// together is how many days are added to the normal equations in one go: the
// sums are then fetched and put back once for all of them.
const together = 4

// normal fills the normal equations of a Gauss-Newton step at p and gives the
// cost. One pass over the days gives all derivatives.
func (f *fitter) normal(p *Params) float64 {
	f.jtj, f.jtr = [nParam][nParam]float64{}, [nParam]float64{}
	k, t := p.rates(f.m.Air[0]), f.start
	w := dayWorth / f.noise
	var d [nParam]float64
	var rows [together][nParam]float64 // of the Jacobian, each times the root of its weight
	cost, next, full := 0.0, 0, 0
	for i := range f.rows {
		t = k.derivatives(t, &f.rows[i], &d)
		if next == len(f.use) || f.use[next] != i {
			continue
		}
		root := math.Sqrt(w * f.weight[next])
		r := root * (t - f.in.Water[i])
		next++
		cost += r * r
		to := &rows[full]
		for a, x := range d {
			to[a] = root * x
			f.jtr[a] -= root * x * r
		}
		if full++; full == together {
			f.addProducts(&rows)
			full = 0
		}
	}
	for i := full; i < together; i++ {
		rows[i] = [nParam]float64{}
	}
	f.addProducts(&rows)
	for a := range p {
		pull := f.pull(p, a)
		f.jtr[a] -= pull
		cost += (p[a] - f.middle[a]) * pull
		for b := range a + 1 {
			f.jtj[a][b] += f.b.precision[a][b]
		}
	}
	return cost
}

// addProducts adds the products of some rows of the Jacobian.
func (f *fitter) addProducts(rows *[together][nParam]float64) {
	r0, r1, r2, r3 := &rows[0], &rows[1], &rows[2], &rows[3]
	for a := range nParam {
		to := &f.jtj[a]
		x0, x1, x2, x3 := r0[a], r1[a], r2[a], r3[a]
		for b := 0; b <= a; b++ {
			to[b] += x0*r0[b] + x1*r1[b] + x2*r2[b] + x3*r3[b]
		}
	}
}

// roughly, nearly and fully are by which share of the cost a step must better it for
// another to follow. The first is for years left out: it moves no figure of RESULTS.md
// by more than 0.01 days or 0.1 %.
const roughly, nearly, fully = 1e-4, 1e-6, 1e-9

const firstDamping = 1e-3

// descend is Levenberg-Marquardt (Marquardt 1963, SIAM J. Appl. Math. 11,
// 431-441) of at most so many steps, damped by how much of the gain foretold came
// (Nielsen 1999, Damping parameter in Marquardt's method, IMM-REP-1999-05):
// where the days curve the valley, undamped steps would swing across it for ever.
func (f *fitter) descend(p Params, steps int, worth float64) (Params, float64) {
	cost := f.normal(&p)
	lambda, raise := f.damping, 2.0
	for step := range steps {
		improved := false
		for range 12 {
			q, foretold, ok := f.move(p, lambda)
			if !ok {
				lambda *= 10
				continue
			}
			c := f.cost(&q)
			if c < cost { // false for NaN
				improved = cost-c > worth*cost
				x := 2*(cost-c)/foretold - 1
				lambda *= max(1.0/3, 1-x*x*x)
				p, cost, raise = q, c, 2
				break
			}
			lambda *= raise
			raise *= 2
		}
		if !improved || step == steps-1 {
			break // nobody asks for the equations of the last step
		}
		f.normal(&p)
	}
	f.damping = lambda
	return p, cost
}

// move solves the damped normal equations and foretells by how much the cost
// falls.
func (f *fitter) move(p Params, lambda float64) (q Params, foretold float64, ok bool) {
	m := mat.NewSymDense(nParam, nil)
	for a := range nParam {
		for b := range a {
			m.SetSym(a, b, f.jtj[a][b])
		}
		m.SetSym(a, a, f.jtj[a][a]*(1+lambda))
	}
	var c mat.Cholesky
	var d mat.VecDense
	if !c.Factorize(m) || c.SolveVecTo(&d, mat.NewVecDense(nParam, f.jtr[:])) != nil {
		return p, 0, false
	}
	for a := range p {
		h := d.AtVec(a)
		p[a] += h
		foretold += h * (lambda*f.jtj[a][a]*h + f.jtr[a])
	}
	return p, foretold, true
}

// polish goes on to the end, with the noise and the weights of the days worked
// out from what the fit leaves.
func (f *fitter) polish(p Params) {
	f.damping = firstDamping
	p, _ = f.descend(p, 60, nearly)
	for k := range reweighs {
		f.reweigh(&p)
		worth := nearly
		if k == reweighs-1 {
			worth = fully
		}
		p, _ = f.descend(p, 60, worth)
	}
	f.m.Params = p
	lags := f.newLagFit(pooledLags)
	l := lags.fit(f, nil)
	l = lags.fit(f, &l)
	f.m.Lags = &l
	outside := f.leaveOut(p, lags)
	f.simulate(&p)
	f.combineLags(f.m.Lags)
	f.m.Kriged = krige(f.knots())
	f.m.krigedRMS = f.add(f.m.Kriged)
	f.m.mix(f.sim, f.in.Day0)
	f.m.Water, _ = yearOf(f.in.Day0, f.in.Water)
	if f.m.Partial() {
		f.m.Water, _ = yearOf(f.in.Day0, f.sim) // part of a year has no wave of its own
	}
	residual := make([]float64, len(f.sim))
	for i := range residual {
		residual[i] = math.NaN()
	}
	for _, i := range f.use {
		residual[i] = f.in.Water[i] - f.sim[i]
	}
	f.m.Error = errorOf(f.in.Day0, residual, f.m.Years)
	if !math.IsNaN(outside) {
		f.m.Error.SD = max(outside, 0.1)
	}
	f.m.Regime = f.m.regime()
}

// reweigh works the noise and the weights of the days out anew from what the heat budget
// leaves.
func (f *fitter) reweigh(p *Params) {
	f.simulate(p)
	sum, weight := 0.0, 0.0
	for d, i := range f.use {
		r := f.sim[i] - f.in.Water[i]
		sum += f.weight[d] * r * r
		weight += f.weight[d]
	}
	f.noise = max(sum/weight, 0.01)
	sd := math.Sqrt(f.noise)
	for d, i := range f.use {
		f.weight[d] = min(1, outlier*sd/math.Abs(f.sim[i]-f.in.Water[i]))
	}
}

func (f *fitter) simulate(p *Params) {
	k, t := p.rates(f.m.Air[0]), f.start
	for i := range f.rows {
		t = k.step(t, &f.rows[i])
		f.sim[i] = t
	}
}
