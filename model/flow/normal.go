package flow

import "gonum.org/v1/gonum/mat"

// normalEquations gathers a weighted linear regression.
type normalEquations struct {
	xx     []float64 // n x n, upper triangle
	xy     []float64
	yy     float64
	weight float64
	n      int
}

func newNormal(n int) *normalEquations {
	return &normalEquations{xx: make([]float64, n*n), xy: make([]float64, n), n: n}
}

func (s *normalEquations) add(x []float64, y, w float64) {
	for j, a := range x {
		if a == 0 {
			continue
		}
		a *= w
		row := s.xx[j*s.n : (j+1)*s.n]
		for k := j; k < s.n; k++ {
			row[k] += a * x[k]
		}
		s.xy[j] += a * y
	}
	s.yy += w * y * y
	s.weight += w
}

// solve returns the coefficients under a normal prior, and the variance of each with
// the unit of the weights. A nil centre is zero. Where the matrix cannot be factorized
// it returns the centre and the variance of the prior.
func (s *normalEquations) solve(centre, precision []float64) (b, variance []float64) {
	m, to := mat.NewSymDense(s.n, nil), mat.NewVecDense(s.n, nil)
	for j := range s.n {
		for k := j; k < s.n; k++ {
			v := s.xx[j*s.n+k]
			if j == k {
				v += precision[j] + 1e-9
			}
			m.SetSym(j, k, v)
		}
		v := s.xy[j]
		if centre != nil {
			v += precision[j] * centre[j]
		}
		to.SetVec(j, v)
	}
	b, variance = make([]float64, s.n), make([]float64, s.n)
	var ch mat.Cholesky
	var at mat.VecDense
	var inverse mat.SymDense
	if !ch.Factorize(m) || ch.SolveVecTo(&at, to) != nil || ch.InverseTo(&inverse) != nil {
		copy(b, centre)
		for j := range variance {
			variance[j] = 1 / (precision[j] + 1e-9)
		}
		return b, variance
	}
	for j := range b {
		b[j], variance[j] = at.AtVec(j), inverse.At(j, j)
	}
	return b, variance
}
