package phenology

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// run walks on the posterior: in each step a move of the five figures together,
// shaped by the covariance met so far (adaptive Metropolis: Haario, Saksman &
// Tamminen 2001, Bernoulli 7, 223-242), then a move of each season's effects
// alone, which touches only that season's likelihood. Shapes and widths are
// learnt in the warm-up and then held, so that the rest is a plain Metropolis
// chain. Everything is counted in standard deviations of the prior.
func (t *target) run(opt Options) (sample [][numParams]float64, effects [][][seasonEffects]float64, accepted float64) {
	rng := rand.New(rand.NewPCG(opt.Seed, 0x9e3779b97f4a7c15))
	free := t.free()
	var e [numParams]float64
	v := make([][seasonEffects]float64, len(t.records))
	width := make([][seasonEffects]float64, len(t.records))
	ll := make([]float64, len(t.records))
	next := make([]float64, len(t.records))
	q := t.p.at(e)
	for s := range ll {
		ll[s] = t.logSeason(s, &q, &v[s])
		width[s] = [seasonEffects]float64{1, 1, 1}
	}
	warm := opt.Steps / 3
	shape := newShape(len(free))
	thin := max(1, opt.Steps/2000)
	taken := 0
	for step := range warm + opt.Steps {
		if step < warm && step%200 == 199 {
			shape.learn()
		}
		// The figures.
		d := shape.move(rng)
		to := e
		for i, k := range free {
			to[k] += d[i]
		}
		qTo := t.p.at(to)
		ratio := 0.0
		for s := range ll {
			next[s] = t.logSeason(s, &qTo, &v[s])
			ratio += next[s] - ll[s]
		}
		for _, k := range free {
			ratio += (e[k]*e[k] - to[k]*to[k]) / 2
		}
		ok := math.Log(rng.Float64()) < ratio
		if ok {
			e, q = to, qTo
			copy(ll, next)
			if step >= warm {
				taken++
			}
		}
		if step < warm {
			shape.met(e, free, ok)
		}
		// The seasons.
		for s := range v {
			for k := range seasonEffects {
				if !t.moves(s, k) {
					continue
				}
				w := v[s]
				w[k] += width[s][k] * rng.NormFloat64()
				l := t.logSeason(s, &q, &w)
				ok := math.Log(rng.Float64()) < l-ll[s]+(v[s][k]*v[s][k]-w[k]*w[k])/2
				if ok {
					v[s], ll[s] = w, l
				}
				if step < warm {
					// Towards 44 % taken, the best for one dimension (Roberts &
					// Rosenthal 2001, Statistical Science 16, 351-367).
					width[s][k] *= math.Exp((btof(ok) - 0.44) / math.Sqrt(float64(step+1)))
				}
			}
		}
		if step >= warm && step%thin == 0 {
			s := e
			for k := range s {
				// Figures that are not free keep their prior, which has no width.
				if !slices.Contains(free, k) {
					s[k] = rng.NormFloat64()
				}
			}
			sample = append(sample, s)
			row := slices.Clone(v)
			for i := range row {
				for k := range row[i] {
					if !t.moves(i, k) {
						row[i][k] = rng.NormFloat64()
					}
				}
			}
			effects = append(effects, row)
		}
	}
	return sample, effects, float64(taken) / float64(opt.Steps)
}

// moves tells whether the chain moves an effect of a season; the others keep
// what they were before the data.
func (t *target) moves(s, k int) bool {
	return t.has(s) && (k != 2 || t.usesNums) && (k != 0 || len(t.records[s].total) > 0)
}

// free lists the figures that the chain moves.
func (t *target) free() []int {
	var f []int
	thermal := t.p.thermal()
	for k, on := range [numParams]bool{
		thermal && t.p.DD50CV > 0,
		t.p.MedianSD > 0,
		thermal && t.p.weightLogitSD() > 0,
		t.p.SpreadCV > 0,
		t.usesNums && t.p.PeakCV > 0,
	} {
		if on {
			f = append(f, k)
		}
	}
	return f
}

// shape learns how to move several figures at once.
type shape struct {
	n     int
	scale float64
	low   *mat.TriDense
	past  []float64 // rows of n
	tries float64
}

func newShape(n int) *shape {
	s := &shape{n: n, scale: 2.38 / math.Sqrt(float64(max(n, 1)))}
	if n > 0 {
		s.low = mat.NewTriDense(n, mat.Lower, nil)
		for i := range n {
			s.low.SetTri(i, i, 0.3)
		}
	}
	return s
}

func (s *shape) move(rng *rand.Rand) []float64 {
	z, d := make([]float64, s.n), make([]float64, s.n)
	for i := range z {
		z[i] = rng.NormFloat64() * s.scale
		for j := 0; j <= i; j++ {
			d[i] += s.low.At(i, j) * z[j]
		}
	}
	return d
}

func (s *shape) met(e [numParams]float64, free []int, ok bool) {
	for _, k := range free {
		s.past = append(s.past, e[k])
	}
	s.tries++
	// Towards 25 % taken.
	s.scale *= math.Exp((btof(ok) - 0.25) / math.Sqrt(s.tries))
}

func (s *shape) learn() {
	if s.n == 0 {
		return
	}
	rows := len(s.past) / s.n
	from := rows / 2 // the first half still remembers the start
	m := mat.NewDense(rows-from, s.n, s.past[from*s.n:])
	c := mat.NewSymDense(s.n, nil)
	stat.CovarianceMatrix(c, m, nil)
	for i := range s.n {
		c.SetSym(i, i, c.At(i, i)+1e-4)
	}
	var ch mat.Cholesky
	if ch.Factorize(c) {
		ch.LTo(s.low)
	}
}

func btof(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
