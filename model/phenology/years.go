package phenology

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// YearCase is one season of one taxon at one site in units that make taxa
// comparable: how many of the taxon's own standard deviations its median date
// was later than usual.
type YearCase struct {
	Taxon int     // index; a taxon at another site is another
	Year  int     // season
	Mid   float64 // the taxon's usual median date, day of the year
	Z     float64 // the season's departure; ignored where it is to be predicted
	Noise float64 // variance of Z from the smallness of the catch
	// X are what is known of the season when the forecast is issued, centred on
	// the other seasons: see YearModel.Slope.
	X []float64
}

// Slope is what is believed of the effect of one of the X before the data: one
// mean for all taxa, known to PoolSD, and each taxon's own around it by TaxonSD.
type Slope struct{ Mean, PoolSD, TaxonSD float64 }

// YearModel says how the departures of taxa and years hang together: a linear
// model with effects of group and year, all normal, partly pooled. The variance
// of a departure is 1, in the parts
//
//	Same    of the year, shared by taxa that fly within SameDays of each other
//	Own     of the taxon, carried over years (exp(-|years|/OwnYears))
//	Shared  of all taxa that fly within SameDays, carried over years likewise
//	rest    of this taxon and year alone
//
// besides MeanVar, how far a taxon's usual date itself may be off, and what the
// slopes of X add.
type YearModel struct {
	Same, SameDays      float64
	Own, Shared         float64
	OwnYears, SharedYrs float64
	MeanVar             float64
	Slopes              []Slope
}

// cov is the covariance of the departures of two cases.
func (m *YearModel) cov(a, b *YearCase) float64 {
	near := math.Exp(-math.Abs(a.Mid-b.Mid) / m.SameDays)
	years := math.Abs(float64(a.Year - b.Year))
	c := m.Shared * near * math.Exp(-years/m.SharedYrs)
	if years == 0 {
		c += m.Same * near
	}
	if a.Taxon == b.Taxon {
		c += m.Own*math.Exp(-years/m.OwnYears) + m.MeanVar
		if years == 0 {
			c += 1 - m.Same - m.Own - m.Shared + a.Noise
		}
	}
	for k, s := range m.Slopes {
		v := s.PoolSD * s.PoolSD
		if a.Taxon == b.Taxon {
			v += s.TaxonSD * s.TaxonSD
		}
		c += v * a.X[k] * b.X[k]
	}
	return c
}

// mean is what the mean slopes say.
func (m *YearModel) mean(a *YearCase) float64 {
	var s float64
	for k, sl := range m.Slopes {
		s += sl.Mean * a.X[k]
	}
	return s
}

// Years is a YearModel that has seen cases.
type Years struct {
	m     YearModel
	cases []YearCase
	chol  mat.Cholesky
	alpha *mat.VecDense // K^-1 (z - mean)
}

// Learn conditions the model on cases.
func (m YearModel) Learn(cases []YearCase) (*Years, error) {
	y := &Years{m: m, cases: cases}
	n := len(cases)
	if n == 0 {
		return y, nil
	}
	k := mat.NewSymDense(n, nil)
	r := mat.NewVecDense(n, nil)
	for i := range cases {
		r.SetVec(i, cases[i].Z-m.mean(&cases[i]))
		for j := i; j < n; j++ {
			k.SetSym(i, j, m.cov(&cases[i], &cases[j]))
		}
		k.SetSym(i, i, k.At(i, i)+1e-9)
	}
	if !y.chol.Factorize(k) {
		return nil, errors.New("the covariance of the seasons is not positive definite")
	}
	y.alpha = mat.NewVecDense(n, nil)
	if err := y.chol.SolveVecTo(y.alpha, r); err != nil {
		return nil, err
	}
	return y, nil
}

// LogLikelihood is the logarithm of the density of the cases' departures.
func (y *Years) LogLikelihood() float64 {
	if len(y.cases) == 0 {
		return 0
	}
	var quad float64
	for i := range y.cases {
		quad += y.alpha.AtVec(i) * (y.cases[i].Z - y.m.mean(&y.cases[i]))
	}
	return -0.5*quad - 0.5*y.chol.LogDet() - 0.5*float64(len(y.cases))*math.Log(2*math.Pi)
}

// Joint is a normal distribution of several departures.
type Joint struct {
	Mean []float64
	Cov  *mat.SymDense
}

// Predict is the joint distribution of the departures of cases not learnt from.
func (y *Years) Predict(to []YearCase) (Joint, error) {
	n, k := len(y.cases), len(to)
	j := Joint{make([]float64, k), mat.NewSymDense(k, nil)}
	var cross, solved *mat.Dense
	if n > 0 {
		cross, solved = mat.NewDense(n, k, nil), mat.NewDense(n, k, nil)
		for i := range n {
			for c := range k {
				cross.Set(i, c, y.m.cov(&y.cases[i], &to[c]))
			}
		}
		if err := y.chol.SolveTo(solved, cross); err != nil {
			return j, err
		}
	}
	for a := range k {
		j.Mean[a] = y.m.mean(&to[a])
		if n > 0 {
			j.Mean[a] += mat.Dot(cross.ColView(a), y.alpha)
		}
		for b := a; b < k; b++ {
			v := y.m.cov(&to[a], &to[b])
			if n > 0 {
				v -= mat.Dot(cross.ColView(a), solved.ColView(b))
			}
			j.Cov.SetSym(a, b, v)
		}
	}
	return j, nil
}

// LeaveOut is, for groups of the learnt cases, their joint distribution given
// all cases of other groups; from one inverse by the formula for blocks,
//
//	cov_B = (K^-1_BB)^-1,  mean_B = z_B - cov_B (K^-1 z)_B
//
// (Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, sec.
// 5.4.2, there for single cases).
func (y *Years) LeaveOut(groups [][]int) ([]Joint, error) {
	var inv mat.SymDense
	if err := y.chol.InverseTo(&inv); err != nil {
		return nil, err
	}
	out := make([]Joint, len(groups))
	for g, idx := range groups {
		b := mat.NewSymDense(len(idx), nil)
		al := mat.NewVecDense(len(idx), nil)
		for i, p := range idx {
			al.SetVec(i, y.alpha.AtVec(p))
			for j, q := range idx {
				b.SetSym(i, j, inv.At(p, q))
			}
		}
		var ch mat.Cholesky
		if !ch.Factorize(b) {
			return nil, errors.New("leaving out a season: not positive definite")
		}
		var cov mat.SymDense
		if err := ch.InverseTo(&cov); err != nil {
			return nil, err
		}
		out[g] = Joint{make([]float64, len(idx)), &cov}
		var d mat.VecDense
		d.MulVec(&cov, al)
		for i, p := range idx {
			out[g].Mean[i] = y.cases[p].Z - d.AtVec(i)
		}
	}
	return out, nil
}

// Given is the distribution of one departure when some of the others are known.
func (j Joint) Given(target int, known []int, z []float64) (mean, variance float64, err error) {
	mean, variance = j.Mean[target], j.Cov.At(target, target)
	if len(known) == 0 {
		return mean, variance, nil
	}
	k := mat.NewSymDense(len(known), nil)
	c, r := mat.NewVecDense(len(known), nil), mat.NewVecDense(len(known), nil)
	for a, p := range known {
		c.SetVec(a, j.Cov.At(target, p))
		r.SetVec(a, z[a]-j.Mean[p])
		for b, q := range known {
			k.SetSym(a, b, j.Cov.At(p, q))
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(k) {
		return 0, 0, errors.New("conditioning on the season so far: not positive definite")
	}
	var w mat.VecDense
	if err := ch.SolveVecTo(&w, c); err != nil {
		return 0, 0, err
	}
	return mean + mat.Dot(&w, r), math.Max(variance-mat.Dot(&w, c), 1e-6), nil
}
