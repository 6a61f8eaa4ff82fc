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

// beside puts the regression's opinion of a day beside the heat budget's t, °C.
func (l *Lags) beside(t float64, r *row, mean float64) float64 {
	if l == nil {
		return t
	}
	x := r.lags(mean)
	return t + lagShare*(min(max(max(dot(l, &x), 0), t-lagFar), t+lagFar)-t)
}

func dot(l *Lags, x *[nLag]float64) (sum float64) {
	for i, v := range x {
		sum += l[i] * v
	}
	return sum
}

// lagBelief is what is held of the factors before a record is seen.
type lagBelief struct {
	lines     [nLag][nClimate]float64
	precision *mat.SymDense
}

// pooledLags is that from the gauges and years of the pooled belief, by the same
// iteration.
var pooledLags = func() *lagBelief {
	b := &lagBelief{precision: mat.NewSymDense(nLag, nil)}
	u := mat.NewTriDense(nLag, mat.Upper, nil)
	for i, r := range laggedTable {
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

// around is the middle of the belief for rivers in such a climate.
func (b *lagBelief) around(c [nClimate]float64) (l Lags) {
	for i := range l {
		for j, v := range c {
			l[i] += b.lines[i][j] * v
		}
	}
	return l
}

// frozen is a reading, °C, that may be ice: water that would be colder stays there.
const frozen = 0.3

// regress fits the factors under a belief by weighted least squares, with the noise
// and the weights of days that the heat budget's fit has. An icy reading counts only
// where the regression would have the water warmer, which takes a second solution.
// It gives the precision of the factors as well.
func (f *fitter) regress(b *lagBelief) (Lags, mat.Cholesky) {
	l := b.around(f.m.climate())
	x, y := mat.NewDense(len(f.use), nLag, nil), mat.NewVecDense(len(f.use), nil)
	var c mat.Cholesky
	for again := range 2 {
		middle := b.around(f.m.climate())
		for k, i := range f.use {
			at, water := f.rows[i].lags(f.m.Air[0]), f.in.Water[i]
			root := math.Sqrt(f.weight[k] * dayWorth / f.noise)
			if water <= frozen && (again == 0 || dot(&l, &at) < 0) {
				root = 0
			}
			y.SetVec(k, root*(water-dot(&middle, &at)))
			floats.ScaleTo(x.RawRowView(k), root, at[:])
		}
		var n mat.SymDense
		n.SymOuterK(1, x.T())
		n.AddSym(&n, b.precision)
		var to, off mat.VecDense
		to.MulVec(x.T(), y)
		if !c.Factorize(&n) || c.SolveVecTo(&off, &to) != nil {
			return middle, c
		}
		for i := range l {
			l[i] = middle[i] + off.AtVec(i)
		}
	}
	return l, c
}
