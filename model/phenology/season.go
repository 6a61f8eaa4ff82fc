package phenology

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// SeasonForecast is the joint normal distribution of one season's median dates
// over all taxa. The median date of taxon i is
//
//	level_i + slope_i x_i
//
// where x_i is the departure of the taxon's thermal date, days, known for each
// future of the water; levels and slopes are jointly normal.
type SeasonForecast struct {
	Year int
	taxa []Taxon
	mean []float64 // levels, then slopes
	cov  *mat.SymDense
}

// Season returns the distribution of a season given the seasons of the fit.
func (j *Joint) Season(year int) (*SeasonForecast, error) {
	g, n := len(j.taxa), len(j.cases)
	s := &SeasonForecast{Year: year, taxa: j.taxa, mean: make([]float64, 2*g), cov: mat.NewSymDense(2*g, nil)}
	for a := range g {
		t := &j.taxa[a]
		s.mean[a], s.mean[g+a] = t.MedianDOY, t.weight()
		for b := a; b < g; b++ {
			p := j.at(a, b)
			v := p.level(0)
			if a == b {
				v += CountVariance(t.SpreadDays, usualCount)
			}
			s.cov.SetSym(a, b, v)
			s.cov.SetSym(g+a, g+b, p.thermal)
		}
	}
	if n == 0 {
		return s, nil
	}
	cross := mat.NewDense(n, 2*g, nil)
	for k := range j.cases {
		c := &j.cases[k]
		row := cross.RawRowView(k)
		for a := range g {
			p := j.at(a, c.Taxon)
			row[a], row[g+a] = p.level(year-c.Year), p.thermal*c.Thermal
		}
	}
	var gain mat.VecDense
	gain.MulVec(cross.T(), j.alpha)
	for i := range s.mean {
		s.mean[i] += gain.AtVec(i)
	}
	var solved, less mat.Dense
	if err := j.chol.SolveTo(&solved, cross); err != nil {
		return nil, fmt.Errorf("season %d of the joint model: %w", year, err)
	}
	less.Mul(cross.T(), &solved)
	for a := range 2 * g {
		for b := a; b < 2*g; b++ {
			s.cov.SetSym(a, b, s.cov.At(a, b)-less.At(a, b))
		}
	}
	return s, nil
}

// MedianDate is the normal distribution of one season's median date of one
// taxon: Level + Slope x days of the year, x being the departure of its thermal
// date in days.
type MedianDate struct {
	Level, Slope              float64
	LevelVar, SlopeVar, Covar float64 // days², 1, days
}

// Taxon returns the distribution of one taxon's median date.
func (s *SeasonForecast) Taxon(i int) MedianDate {
	g := len(s.mean) / 2
	return MedianDate{s.mean[i], s.mean[g+i], s.cov.At(i, i), s.cov.At(g+i, g+i), s.cov.At(i, g+i)}
}

// At returns mean and variance of the median date at a thermal departure of x
// days.
func (m MedianDate) At(x float64) (mean, variance float64) {
	return m.Level + x*m.Slope, max(leastVariance, m.LevelVar+2*x*m.Covar+x*x*m.SlopeVar)
}

// leastVariance is the least variance of a median date, days².
const leastVariance = 1.0

// Updated returns the distribution after the median date at departure x was
// found to have that mean and variance.
func (m MedianDate) Updated(x, mean, variance float64) MedianDate {
	was, v := m.At(x)
	gl, gs := (m.LevelVar+x*m.Covar)/v, (m.Covar+x*m.SlopeVar)/v
	drop := v - variance
	return MedianDate{
		m.Level + gl*(mean-was), m.Slope + gs*(mean-was),
		max(0, m.LevelVar-gl*gl*drop), max(0, m.SlopeVar-gs*gs*drop), m.Covar - gl*gs*drop,
	}
}

// Evidence is what the sightings or catches of one taxon in a season tell of its
// median date, beside the forecast.
type Evidence struct {
	Taxon    int
	Thermal  float64 // departure of the taxon's thermal date, days
	DOY      float64
	Variance float64 // days²
}

// EvidenceOf divides the forecast out of a posterior of the median date. It says
// false if the posterior tells too little that the forecast did not.
func (m MedianDate) EvidenceOf(taxon int, x, mean, variance float64) (Evidence, bool) {
	was, v := m.At(x)
	if !(variance < maxVarianceShare*v) {
		return Evidence{}, false
	}
	own := 1 / (1/variance - 1/v)
	return Evidence{taxon, x, own * (mean/variance - was/v), own}, true
}

// maxVarianceShare is the share of the variance below which evidence counts.
const maxVarianceShare = 0.9

// surpriseLimit bounds how far evidence may lie from what was expected of it, in
// standard deviations.
const surpriseLimit = 2.0

// Given returns the median date of one taxon given evidence on others. Evidence
// on the taxon itself is left out.
func (s *SeasonForecast) Given(taxon int, evidence []Evidence) (MedianDate, error) {
	m := s.Taxon(taxon)
	g := len(s.mean) / 2
	var of []Evidence
	for _, e := range evidence {
		if e.Taxon != taxon {
			of = append(of, e)
		}
	}
	n := len(of)
	if n == 0 {
		return m, nil
	}
	// Columns of the covariance with the evidence: of level and slope.
	c, r := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	with := mat.NewDense(n, 2, nil)
	for a, e := range of {
		with.Set(a, 0, s.cov.At(taxon, e.Taxon)+e.Thermal*s.cov.At(taxon, g+e.Taxon))
		with.Set(a, 1, s.cov.At(g+taxon, e.Taxon)+e.Thermal*s.cov.At(g+taxon, g+e.Taxon))
		for b := a; b < n; b++ {
			f := of[b]
			v := s.cov.At(e.Taxon, f.Taxon) + e.Thermal*s.cov.At(g+e.Taxon, f.Taxon) +
				f.Thermal*s.cov.At(e.Taxon, g+f.Taxon) + e.Thermal*f.Thermal*s.cov.At(g+e.Taxon, g+f.Taxon)
			if a == b {
				v += e.Variance
			}
			c.SetSym(a, b, v)
		}
		limit := surpriseLimit * math.Sqrt(c.At(a, a))
		d := e.DOY - s.mean[e.Taxon] - e.Thermal*s.mean[g+e.Taxon]
		r.SetVec(a, max(-limit, min(limit, d)))
	}
	var ch mat.Cholesky
	if !ch.Factorize(c) {
		return m, errors.New("the covariance of the evidence is not positive definite")
	}
	var w, less mat.Dense
	if err := ch.SolveTo(&w, with); err != nil {
		return m, fmt.Errorf("conditioning on %d taxa seen: %w", n, err)
	}
	less.Mul(with.T(), &w)
	m.Level += mat.Dot(w.ColView(0), r)
	m.Slope += mat.Dot(w.ColView(1), r)
	m.LevelVar = max(leastVariance, m.LevelVar-less.At(0, 0))
	m.SlopeVar = max(0, m.SlopeVar-less.At(1, 1))
	m.Covar -= less.At(0, 1)
	return m, nil
}
