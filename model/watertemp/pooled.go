package watertemp

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// prior is what is held of the parameters before a record is seen: a normal
// distribution over rivers, its middle on lines through what weather and flow show
// of a reach (see regional.go).
type prior struct {
	lines     [nParam][nClimate]float64
	lower     [nParam][nParam]float64 // Cholesky factor of the covariance about the lines
	precision [nParam][nParam]float64
}

// pooled is the prior from 309 gauges of the United States (daily water
// temperature and flow of the USGS, air of PRISM, October 2016 to September
// 2019), by expectation-maximisation: each gauge is fitted under the prior, the
// prior moved to the lines through the fits and their spread about those, each with
// its own uncertainty.
// Every sixth gauge was left out of it, for choosing the form of the model, and
// the year after it, for the check.
var pooled = func() *prior {
	b := &prior{}
	for i, r := range readTable("pooled.csv", pooledCSV, nParam) {
		b.lines[i] = r.line
		copy(b.lower[i][:], r.lower)
	}
	b.finish()
	return b
}()

// finish works out the precision from the factor.
func (b *prior) finish() {
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

// around is the mean of the prior for rivers in such a climate.
func (b *prior) around(c [nClimate]float64) (p Params) {
	for i := range p {
		for j, v := range c {
			p[i] += b.lines[i][j] * v
		}
	}
	return p
}

// drawn is a draw of the parameters about a middle, shrunk by a factor towards it.
func (b *prior) drawn(middle Params, normal func() float64, factor float64) Params {
	var z [nParam]float64
	for i := range z {
		z[i] = factor * normal()
	}
	for i := range middle {
		for j := range i + 1 {
			middle[i] += b.lower[i][j] * z[j]
		}
	}
	return middle
}

// sd is the spread of a parameter.
func (b *prior) sd(i int) float64 { return floats.Norm(b.lower[i][:i+1], 2) }
