package watertemp

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// The second opinion is a distributed-lag regression: the water as a sum of the
// air and the flow of the day and of the past days, weeks and months, each with a
// factor that goes with the season. Such regressions are old (the review of
// Benyahya and others 2007, Can. Water Resour. J. 32, 179-192, cited from memory);
// that two forecasts of different make are better together than either was shown
// by Bates and Granger (1969, Oper. Res. Q. 20, 451-468, likewise).
const (
	seasons = 3                 // factors of what goes with the season: mean, cosine, sine
	lAir    = 5                 // after the two harmonics of the year
	lFlow   = lAir + 5*seasons  // air of the day, the day before, 5, 25 and 120 days
	lBend   = lFlow + 3*seasons // flow of the day, 5 and 40 days
	nLag    = lBend + 9
)

// Lags are the factors of that regression, °C per unit of the feature.
type Lags [nLag]float64

// lags are a day's features, with the seasons in them.
func (r *row) lags(mean float64) (x [nLag]float64) {
	cos, sin := r.x[fCos], r.x[fSin]
	copy(x[:], []float64{1, cos, sin, r.x[fCos2], r.x[fSin2]})
	at := lAir
	for _, v := range [...]float64{r.x[fAir], r.x[fPrev], r.x[fFast], r.x[fSlow], r.x[fVerySlow], r.flow, r.flowFast, r.flowSlow} {
		x[at], x[at+1], x[at+2] = v, v*cos, v*sin
		at += seasons
	}
	air, fast, prev := r.x[fAir]+mean, r.x[fFast]+mean, r.x[fPrev]*r.flow
	copy(x[lBend:], []float64{
		min(air, 0), max(air-15, 0), min(fast, 0), max(fast-15, 0), r.x[fColdSlow], // ice, snow, evaporation
		prev, prev * cos, prev * sin, r.x[fSlow] * r.flow, // much water is slow to follow
	})
	return x
}

const (
	// lagShare is the regression's share in the answer. Chosen on the fitted years
	// of the gauges, each year left out in turn: see RESULTS.md.
	lagShare = 2.0 / 3
	// lagFar is how far, °C, the regression may be from the heat budget: unlike
	// that it knows no bounds where weather or flow are new to it. Our own default.
	lagFar = 5
)

// lagDay is the factors of a day, with the season in them: the same for all futures.
type lagDay struct {
	one, fall float64    // of nothing, and of yesterday's air times the flow
	of        [8]float64 // of the eight columns that go with the season
}

// days are the factors of every day of a span; nil of no regression.
func (l *Lags) days(h harmonics) []lagDay {
	if l == nil {
		return nil
	}
	out := make([]lagDay, len(h.cos))
	for i := range out {
		cos, sin := h.cos[i], h.sin[i]
		at := func(k int) float64 { return l[k] + l[k+1]*cos + l[k+2]*sin }
		out[i].one = at(0) + l[3]*(cos*cos-sin*sin) + l[4]*2*cos*sin
		for k := range out[i].of {
			out[i].of[k] = at(lAir + k*seasons)
		}
		out[i].fall = at(lBend + 5)
	}
	return out
}

// combine puts the regression's opinion of a day beside the heat budget's t, °C.
func (l *Lags) combine(t float64, r *row, d *lagDay, mean float64) float64 {
	x, f, bend := &r.x, &d.of, (*[9]float64)(l[lBend:])
	air, fast := x[fAir]+mean, x[fFast]+mean
	of := d.one + f[0]*x[fAir] + f[1]*x[fPrev] + f[2]*x[fFast] + f[3]*x[fSlow] + f[4]*x[fVerySlow]
	flow := f[5]*r.flow + f[6]*r.flowFast + f[7]*r.flowSlow + (d.fall*x[fPrev]+bend[8]*x[fSlow])*r.flow
	bent := bend[0]*min(air, 0) + bend[1]*max(air-15, 0) + bend[2]*min(fast, 0) + bend[3]*max(fast-15, 0) + bend[4]*x[fColdSlow]
	return t + lagShare*(min(max(of+flow+bent, 0, t-lagFar), t+lagFar)-t)
}

// lagPrior is what is held of the factors before a record is seen.
type lagPrior struct {
	lines     [nLag][nClimate]float64
	precision *mat.SymDense
}

// pooledLags is that from the gauges and years of the pooled prior, by the same
// iteration.
var pooledLags = func() *lagPrior {
	b := &lagPrior{precision: mat.NewSymDense(nLag, nil)}
	u := mat.NewTriDense(nLag, mat.Upper, nil)
	for i, r := range readTable("lagged.csv", laggedCSV, nLag) {
		b.lines[i] = r.line
		for j, v := range r.lower {
			u.SetTri(j, i, v)
		}
	}
	var c mat.Cholesky
	c.SetFromU(u)
	_ = c.InverseTo(b.precision) // it complains of condition only; the table is tested
	return b
}()

// around is the mean of the prior for rivers in such a climate.
func (b *lagPrior) around(c [nClimate]float64) (l Lags) {
	for i := range l {
		for j, v := range c {
			l[i] += b.lines[i][j] * v
		}
	}
	return l
}

// frozen is a reading, °C, that may be ice: water that would be colder stays there.
const frozen = 0.3

// lagFit is the regression's part of a fit: the features of the days whose residual
// counts, and the mean of the prior.
type lagFit struct {
	x         *mat.Dense
	prior     *lagPrior
	middle    Lags
	usual     []float64 // what the middle says of those days
	precision mat.Cholesky
}

func (f *fitter) newLagFit(b *lagPrior) *lagFit {
	g := &lagFit{mat.NewDense(len(f.use), nLag, nil), b, b.around(f.m.climate()), make([]float64, len(f.use)), mat.Cholesky{}}
	for k, i := range f.use {
		x := f.rows[i].lags(f.m.Air[0])
		copy(g.x.RawRowView(k), x[:])
		g.usual[k] = floats.Dot(x[:], g.middle[:])
	}
	return g
}

// fit finds the factors by weighted least squares, with the noise and the weights of
// days that the heat budget's fit has. It leaves the precision behind.
func (g *lagFit) fit(f *fitter, others *Lags) Lags {
	return g.solve(g.sums(f, others, 0, len(f.use)))
}

// lagSums are the normal equations of some days, without the prior.
type lagSums struct {
	n mat.SymDense
	t mat.VecDense
}

// sums are those of the days of f.use from one index to another. An icy reading counts
// only where other factors (nil: none yet) would have the water warmer.
func (g *lagFit) sums(f *fitter, others *Lags, from, to int) *lagSums {
	x, y := mat.NewDense(to-from, nLag, nil), mat.NewVecDense(to-from, nil)
	for k := from; k < to; k++ {
		i := f.use[k]
		root, at := math.Sqrt(f.weight[k]*dayWorth/f.noise), g.x.RawRowView(k)
		if f.in.Water[i] <= frozen && (others == nil || floats.Dot(others[:], at) < 0) {
			continue
		}
		y.SetVec(k-from, root*(f.in.Water[i]-g.usual[k]))
		floats.ScaleTo(x.RawRowView(k-from), root, at)
	}
	var s lagSums
	s.n.SymOuterK(1, x.T())
	s.t.MulVec(x.T(), y)
	return &s
}

// solve finds the factors under the prior.
func (g *lagFit) solve(s *lagSums) Lags {
	var n mat.SymDense
	n.AddSym(&s.n, g.prior.precision)
	var off mat.VecDense
	l := g.middle
	if g.precision.Factorize(&n) && g.precision.SolveVecTo(&off, &s.t) == nil {
		floats.Add(l[:], off.RawVector().Data)
	}
	return l
}

// withoutEach are the factors with one part of the days left out in turn, which lie
// between the given indices.
func (g *lagFit) withoutEach(f *fitter, others *Lags, cut []int) []Lags {
	parts := make([]*lagSums, len(cut)-1)
	out := make([]Lags, len(parts))
	n, t := mat.NewSymDense(nLag, nil), mat.NewVecDense(nLag, nil)
	for k := range parts {
		parts[k] = g.sums(f, others, cut[k], cut[k+1])
		n.AddSym(n, &parts[k].n)
		t.AddVec(t, &parts[k].t)
	}
	for k, p := range parts {
		for i := range nLag {
			for j := i; j < nLag; j++ {
				p.n.SetSym(i, j, n.At(i, j)-p.n.At(i, j))
			}
		}
		p.t.SubVec(t, &p.t)
		out[k] = g.solve(p)
	}
	return out
}

// combineLags puts the regression beside what was simulated.
func (f *fitter) combineLags(l *Lags) {
	d := l.days(f.h)
	for i := range f.rows {
		f.sim[i] = l.combine(f.sim[i], &f.rows[i], &d[i], f.m.Air[0])
	}
}
