package watertemp

import "gonum.org/v1/gonum/mat"

// belief is what is held of the parameters before a record is seen: a normal
// distribution over rivers.
type belief struct {
	mean      [nParam]float64
	lower     [nParam][nParam]float64 // Cholesky factor of the covariance
	precision [nParam][nParam]float64
}

// pooled is the belief from 309 gauges of the United States (daily water
// temperature and flow of the USGS, air of PRISM, October 2016 to September
// 2019), by expectation-maximisation: each gauge is fitted under the belief, the
// belief moved to the mean and spread of the fits with their own uncertainty.
// Every sixth gauge was left out of it, for choosing the form of the model, and
// the year after it, for the check.
var pooled = beliefOf()

func beliefOf() *belief {
	b := &belief{}
	for i, r := range pooledTable {
		b.mean[i] = r.mean
		copy(b.lower[i][:], r.lower)
	}
	b.finish()
	return b
}

// finish works out the precision from the factor.
func (b *belief) finish() {
	u := mat.NewTriDense(nParam, mat.Upper, nil)
	for i := range nParam {
		for j := range i + 1 {
			u.SetTri(j, i, b.lower[i][j])
		}
	}
	var c mat.Cholesky
	c.SetFromU(u)
	var inv mat.SymDense
	if err := c.InverseTo(&inv); err != nil {
		return // badly conditioned is still usable; the table is tested
	}
	for i := range nParam {
		for j := range nParam {
			b.precision[i][j] = inv.At(i, j)
		}
	}
}

// around is the belief with another middle.
func (b *belief) around(mean Params) *belief {
	c := *b
	c.mean = mean
	return &c
}

// drawn is a draw of the parameters, shrunk by a factor towards the mean.
func (b *belief) drawn(normal func() float64, factor float64) Params {
	var z [nParam]float64
	for i := range z {
		z[i] = factor * normal()
	}
	var p Params
	for i := range p {
		p[i] = b.mean[i]
		for j := range i + 1 {
			p[i] += b.lower[i][j] * z[j]
		}
	}
	return p
}
