package phenology

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Draw gives n possible truths for one season: each figure moved by its
// uncertainty, with the correlations that calibration found, and then the
// requirement and the calendar date by what single seasons stray. In a draw
// nothing is uncertain any more, so its standard deviations are 0.
//
// Standard normal scores are drawn one from each of n slices of equal chance in
// an order of their own (McKay, Beckman & Conover 1979, Technometrics 21,
// 239-245), so that few draws stand well for the distribution. The same seed
// gives the same draws.
func (p Params) Draw(seed uint64, n int) []Params {
	z := [numParams + 2][]float64{}
	for k := range z {
		z[k] = normals(n, seed, uint64(k))
	}
	l, mixed := p.factor()
	out := make([]Params, n)
	for i := range out {
		var e [numParams]float64
		for k := range e {
			e[k] = z[k][i]
			if mixed {
				e[k] = 0
				for j := 0; j <= k; j++ {
					e[k] += l.At(k, j) * z[j][i]
				}
			}
		}
		q := p.at(e)
		q.DD50 *= math.Exp(p.YearCV * z[numParams][i])
		q.MedianDOY += p.YearSD * z[numParams+1][i]
		q.YearCV, q.YearSD = 0, 0
		out[i] = q
	}
	return out
}

// at is the parameters moved by so many standard deviations in each figure.
func (p Params) at(e [numParams]float64) Params {
	q := p
	q.DD50 = p.DD50 * math.Exp(p.DD50CV*e[0])
	q.MedianDOY = p.MedianDOY + p.MedianSD*e[1]
	if sd := p.weightLogitSD(); sd > 0 {
		q.Weight = logistic(logit(p.Weight) + sd*e[2])
	}
	q.SpreadDays = math.Max(minSpread, p.SpreadDays*math.Exp(p.SpreadCV*e[3]))
	q.PeakChance = chanceOf(peakLog(p.PeakChance) + p.PeakCV*e[4])
	q.DD50CV, q.MedianSD, q.WeightSD, q.SpreadCV, q.PeakCV = 0, 0, 0, 0, 0
	q.Corr = [numParams][numParams]float64{}
	return q
}

// minSpread is the least spread of a draw, days; that of forecast/engine.
const minSpread = 0.5

// weightLogitSD is the uncertainty of the weight on the logit scale, where no
// draw leaves 0..1, by the slope of the logit at the weight. It is kept below
// maxLogitSD: beyond it a logit-normal heaps up at 0 and 1.
func (p Params) weightLogitSD() float64 {
	if p.WeightSD <= 0 || p.Weight <= 0 || p.Weight >= 1 {
		return 0
	}
	return math.Min(p.WeightSD/(p.Weight*(1-p.Weight)), maxLogitSD)
}

const maxLogitSD = 1.5

func logit(w float64) float64    { return math.Log(w / (1 - w)) }
func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// peakLog is the logarithm of the records expected on the peak day, and
// chanceOf the way back.
func peakLog(chance float64) float64 { return math.Log(-math.Log1p(-chance)) }
func chanceOf(x float64) float64     { return -math.Expm1(-math.Exp(math.Min(x, 3))) }

// factor is the Cholesky factor of the correlations; false if there are none.
func (p Params) factor() (*mat.TriDense, bool) {
	if p.Corr == ([numParams][numParams]float64{}) {
		return nil, false
	}
	c := mat.NewSymDense(numParams, nil)
	for i := range numParams {
		c.SetSym(i, i, 1)
		for j := range i {
			c.SetSym(i, j, p.Corr[i][j])
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(c) {
		return nil, false
	}
	l := mat.NewTriDense(numParams, mat.Lower, nil)
	ch.LTo(l)
	return l, true
}

// normals are n standard normal scores in a random order, one from each slice of
// equal chance.
func normals(n int, seed, key uint64) []float64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte{byte(key), 'p', 'h', 'e', 'n'})
	rng := rand.New(rand.NewPCG(seed, h.Sum64()))
	z := make([]float64, n)
	for i := range z {
		z[i] = distuv.UnitNormal.Quantile((float64(i) + 0.5 + 0.999*(rng.Float64()-0.5)) / float64(n))
	}
	rng.Shuffle(n, func(i, j int) { z[i], z[j] = z[j], z[i] })
	return z
}
