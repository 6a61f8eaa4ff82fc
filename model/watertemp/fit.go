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
}

// MinDays is how many days of water temperature with air a fit needs: a year,
// or the seasonal terms are free. Our own default.
const MinDays = 365

// TooLittleError says how much a fit lacks.
type TooLittleError struct{ Have, Need int }

func (e *TooLittleError) Error() string {
	return fmt.Sprintf("fitting water temperature: %d days with water and air temperature, %d are needed; %d are missing", e.Have, e.Need, e.Need-e.Have)
}

// prior holds the centre and the spread of each parameter, from the ranges of
// the published fits of Swiss rivers (Toffolon and Piccolroaz 2015, supplement
// table 1), widened. It keeps what a record cannot tell near what rivers do.
var prior = [nParam][2]float64{
	pA1: {0.8, 2}, pA2: {0.35, 0.3}, pA3: {0.35, 0.4}, pA4: {0.3, 0.4}, pA5: {0.5, 2},
	pC6: {0, 1.5}, pS6: {0, 1.5}, pA8: {0.2, 0.4}, pC1: {0, 1}, pS1: {0, 1}, pMix: {0.15, 0.2},
}

// priorNoise is the standard deviation of a residual against which the prior
// is weighed; residuals are correlated, so a day counts for a fraction of one.
const priorNoise, dayWorth = 1.0, 0.2

// scout is how many steps each start is given before the best of them goes on
// to the end.
const scout = 10

// warmup is how many days after the start or a gap of the air do not count.
const warmup = 20

// Fit finds the parameters of a reach by least squares with a prior, from
// several starts. It is deterministic for a seed.
func Fit(in Input, o Options) (Model, error) {
	f, m, err := newFitter(in)
	if err != nil {
		return Model{}, err
	}
	if o.Starts == 0 {
		o.Starts = 5
	}
	rng := rand.New(rand.NewPCG(o.Seed, 4))
	best := math.Inf(1)
	for s := range o.Starts {
		var p Params
		for k := range p {
			p[k] = prior[k][0]
			if s > 0 {
				p[k] += 0.7 * prior[k][1] * rng.NormFloat64()
			}
		}
		p[pA2], p[pA3], p[pA8] = math.Abs(p[pA2]), math.Abs(p[pA3]), math.Abs(p[pA8])
		if p, cost := f.descend(p, scout); cost < best {
			best, m.Params = cost, p
		}
	}
	m.Params, _ = f.descend(m.Params, 80)
	f.residual(&m)
	m.Days = len(f.use)
	m.Years = float64(m.Days) / 365.25
	return m, nil
}

// newFitter prepares a fit and the part of the model that needs none.
func newFitter(in Input) (*fitter, Model, error) {
	if err := in.check(); err != nil {
		return nil, Model{}, fmt.Errorf("fitting water temperature: %w", err)
	}
	m := Model{Grade: "measured here"}
	m.MeanFlow, m.NormalQ = flowNormals(in)
	f := &fitter{in: in, air: bridged(in.Air), h: harmonicsOf(in.Day0, len(in.Air)), buf: make([]float64, len(in.Air))}
	f.theta = m.logTheta(in.Day0, in.Flow, len(in.Air))
	f.ratio = make([]float64, len(f.theta))
	for i, lt := range f.theta {
		f.ratio[i] = math.Exp(lt)
	}
	f.start = firstKnown(in.Water)
	since := 0
	for i := range in.Air {
		if math.IsNaN(in.Air[i]) {
			since = 0
			continue
		}
		since++
		if !math.IsNaN(in.Water[i]) && (since > warmup || i < warmup) && i >= warmup {
			f.use = append(f.use, i)
		}
	}
	if len(f.use) < MinDays {
		return nil, Model{}, &TooLittleError{Have: len(f.use), Need: MinDays}
	}
	return f, m, nil
}

func firstKnown(v []float64) float64 {
	for _, x := range v {
		if !math.IsNaN(x) {
			return x
		}
	}
	return 8
}

// flowNormals is the mean flow and its normals by twelfths of the year; zeros
// if less than a year of it is known.
func flowNormals(in Input) (mean float64, byMonth [12]float64) {
	var n [12]float64
	total, known := 0.0, 0
	for i, q := range in.Flow {
		if math.IsNaN(q) || q < 0 {
			continue
		}
		k := month(in.Day0 + i)
		byMonth[k] += q
		n[k]++
		total += q
		known++
	}
	if known < 300 || total <= 0 {
		return 0, [12]float64{}
	}
	mean = total / float64(known)
	for k := range byMonth {
		if n[k] > 0 {
			byMonth[k] /= n[k]
		} else {
			byMonth[k] = mean
		}
	}
	return mean, byMonth
}

type fitter struct {
	in         Input
	air, theta []float64 // theta: the logarithm of the flow ratio; nil without flow
	ratio      []float64 // the flow ratio itself
	h          harmonics
	buf        []float64
	start      float64
	use        []int // days whose residual counts
}

// normal fills the normal equations of a Gauss-Newton step at p: the matrix
// J'J, the right side -J'r and the cost |r|^2. The derivatives of each day's
// temperature follow from those of the day before by the chain rule through the
// exact step T' = eq + (T - eq) exp(-rate), eq = num/rate, so that one pass over
// the days gives all of them.
func (f *fitter) normal(p *Params, jtj *[nParam][nParam]float64, jtr *[nParam]float64) float64 {
	*jtj, *jtr = [nParam][nParam]float64{}, [nParam]float64{}
	var d, num1, rate1 [nParam]float64
	w := math.Sqrt(dayWorth) / priorNoise
	cost, t, before, next := 0.0, f.start, f.air[0], 0
	for i, a := range f.air {
		ta := a + p[pMix]*(before-a)
		theta, inv, lt := 1.0, 1.0, 0.0
		if f.theta != nil {
			lt, theta = f.theta[i], f.ratio[i]
			inv = math.Exp(-p[pA4] * lt)
		}
		c, s := f.h.cos[i], f.h.sin[i]
		num := (p[pA1] + p[pA2]*ta + p[pC1]*c + p[pS1]*s + theta*(p[pA5]+p[pC6]*c+p[pS6]*s)) * inv
		rate := (p[pA3] + theta*p[pA8]) * inv
		num1 = [nParam]float64{pA1: inv, pA2: ta * inv, pA4: -lt * num, pA5: theta * inv, pC6: theta * c * inv,
			pS6: theta * s * inv, pC1: c * inv, pS1: s * inv, pMix: p[pA2] * (before - a) * inv}
		rate1[pA3], rate1[pA8], rate1[pA4] = inv, theta*inv, -lt*rate
		if rate < leastRate {
			rate = leastRate
			rate1 = [nParam]float64{}
		}
		before = a
		eq := num / rate
		keep := math.Exp(-rate)
		away := (t - eq) * keep
		for k := range d {
			d[k] = keep*d[k] + (1-keep)*(num1[k]-eq*rate1[k])/rate - away*rate1[k]
		}
		if t = eq + away; t < 0 {
			t, d = 0, [nParam]float64{}
		}
		if next == len(f.use) || f.use[next] != i {
			continue
		}
		next++
		r := w * (t - f.in.Water[i])
		cost += r * r
		for x := range d {
			wd := w * d[x]
			jtr[x] -= wd * r
			row := &jtj[x]
			for y := x; y < nParam; y++ {
				row[y] += wd * w * d[y]
			}
		}
	}
	for k := range p {
		r := (p[k] - prior[k][0]) / prior[k][1]
		cost += r * r
		jtr[k] -= r / prior[k][1]
		jtj[k][k] += 1 / (prior[k][1] * prior[k][1])
	}
	return cost
}

// cost is that of normal alone.
func (f *fitter) cost(p *Params) float64 {
	p.simulate(f.buf, f.air, f.theta, f.h, f.start)
	sum := 0.0
	for _, i := range f.use {
		r := f.buf[i] - f.in.Water[i]
		sum += r * r
	}
	sum *= dayWorth / (priorNoise * priorNoise)
	for k := range p {
		r := (p[k] - prior[k][0]) / prior[k][1]
		sum += r * r
	}
	return sum
}

// descend is the method of Levenberg and Marquardt (Marquardt 1963, SIAM J.
// Appl. Math. 11, 431-441): the model is cheap and the parameters few.
func (f *fitter) descend(p Params, steps int) (Params, float64) {
	var full [nParam][nParam]float64
	var right [nParam]float64
	cost := f.normal(&p, &full, &right)
	lambda := 1e-2
	jtr := mat.NewVecDense(nParam, right[:])
	damped := mat.NewSymDense(nParam, nil)
	for range steps {
		improved := false
		for range 12 {
			for a := range nParam {
				for b := a; b < nParam; b++ {
					damped.SetSym(a, b, full[a][b])
				}
				damped.SetSym(a, a, full[a][a]*(1+lambda)+1e-12)
			}
			var chol mat.Cholesky
			var dp mat.VecDense
			if !chol.Factorize(damped) || chol.SolveVecTo(&dp, jtr) != nil {
				lambda *= 10
				continue
			}
			q := p
			for k := range q {
				q[k] += dp.AtVec(k)
			}
			if c := f.cost(&q); c < cost {
				improved = (cost-c)/cost > 1e-8
				p, cost = q, c
				lambda = math.Max(lambda/5, 1e-9)
				break
			}
			lambda *= 4
		}
		if !improved {
			break
		}
		f.normal(&p, &full, &right)
	}
	return p, cost
}

// residual describes what the heat budget leaves: its seasonal mean, shrunk
// as if three more seasons without any had been seen, and the correlation from
// day to day.
func (f *fitter) residual(m *Model) {
	m.Params.simulate(f.buf, f.air, f.theta, f.h, f.start)
	n := len(f.in.Air)
	e := make([]float64, n)
	for i := range e {
		e[i] = math.NaN()
	}
	x := mat.NewSymDense(5, nil)
	y := mat.NewVecDense(5, nil)
	for _, i := range f.use {
		e[i] = f.in.Water[i] - f.buf[i]
		c, s := f.h.cos[i], f.h.sin[i]
		row := [5]float64{1, c, s, c*c - s*s, 2 * c * s}
		for a := range 5 {
			for b := a; b < 5; b++ {
				x.SetSym(a, b, x.At(a, b)+row[a]*row[b])
			}
			y.SetVec(a, y.AtVec(a)+row[a]*e[i])
		}
	}
	for a := range 5 {
		x.SetSym(a, a, x.At(a, a)+365)
	}
	var chol mat.Cholesky
	var b mat.VecDense
	if chol.Factorize(x) && chol.SolveVecTo(&b, y) == nil {
		for a := range 5 {
			m.Season[a] = b.AtVec(a)
		}
	}
	var ss, cross, pairs, count float64
	for i := range e {
		if math.IsNaN(e[i]) {
			continue
		}
		e[i] -= m.season(f.h, i)
		ss += e[i] * e[i]
		count++
		if i > 0 && !math.IsNaN(e[i-1]) {
			cross += e[i] * e[i-1]
			pairs++
		}
	}
	m.Sigma = math.Sqrt(ss / count)
	if pairs > 0 && ss > 0 {
		m.Phi = math.Min(0.98, math.Max(0, cross/pairs/(ss/count)))
	}
}
