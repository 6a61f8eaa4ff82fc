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

// addFour is add of four rows of features in one go: each sum is fetched and put back
// once for all of them, in the same order of additions.
func (s *normalEquations) addFour(x *[4]*[numFeatures]float64, y, w *[4]float64) {
	for j := range numFeatures {
		a, b, c, d := x[0][j], x[1][j], x[2][j], x[3][j]
		if a == 0 && b == 0 && c == 0 && d == 0 {
			continue
		}
		a, b, c, d = a*w[0], b*w[1], c*w[2], d*w[3]
		row := s.xx[j*numFeatures+j : (j+1)*numFeatures]
		x0, x1, x2, x3 := x[0][j:][:len(row)], x[1][j:][:len(row)], x[2][j:][:len(row)], x[3][j:][:len(row)]
		for k, v := range row {
			row[k] = v + a*x0[k] + b*x1[k] + c*x2[k] + d*x3[k]
		}
		s.xy[j] = s.xy[j] + a*y[0] + b*y[1] + c*y[2] + d*y[3]
	}
	for k, v := range w {
		s.yy += v * y[k] * y[k]
		s.weight += v
	}
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
