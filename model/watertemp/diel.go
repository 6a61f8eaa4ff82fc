package watertemp

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Diel is how far the warmest hour of a day lies above its mean, °C: a mean
// through the seasons and a standard deviation. The zero Diel is one that was
// not measured.
type Diel struct {
	Season [3]float64 // 1, cos w, sin w
	SD     float64
	Days   int
}

// FitDiel learns the diel range from daily means and maxima; NaN is unknown.
func FitDiel(day0 int, mean, top []float64) Diel {
	var d Diel
	x, y := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	h := harmonicsOf(day0, len(mean))
	for i := range mean {
		r := top[i] - mean[i]
		if math.IsNaN(r) || r < 0 {
			continue
		}
		row := [3]float64{1, h.cos[i], h.sin[i]}
		for a := range 3 {
			for b := a; b < 3; b++ {
				x.SetSym(a, b, x.At(a, b)+row[a]*row[b])
			}
			y.SetVec(a, y.AtVec(a)+row[a]*r)
		}
		d.Days++
	}
	if d.Days < 60 {
		return Diel{}
	}
	for a := range 3 {
		x.SetSym(a, a, x.At(a, a)+1)
	}
	var chol mat.Cholesky
	var b mat.VecDense
	if !chol.Factorize(x) || chol.SolveVecTo(&b, y) != nil {
		return Diel{}
	}
	for a := range 3 {
		d.Season[a] = b.AtVec(a)
	}
	ss := 0.0
	for i := range mean {
		if r := top[i] - mean[i]; !math.IsNaN(r) && r >= 0 {
			e := r - d.at(h.cos[i], h.sin[i])
			ss += e * e
		}
	}
	d.SD = math.Sqrt(ss / float64(d.Days))
	return d
}

func (d Diel) at(cos, sin float64) float64 {
	return math.Max(0, d.Season[0]+d.Season[1]*cos+d.Season[2]*sin)
}

// unmeasuredC and unmeasuredSD stand in where no daily maxima are known. Our
// own default: a trout stream in summer swings by some 3 to 8 °C.
const unmeasuredC, unmeasuredSD = 2.5, 1.5

// Above is how far the warmest hour of a day lies above its mean, °C, with its
// standard deviation.
func (d Diel) Above(day int) (mean, sd float64) {
	s, c := wave(day)
	if d.Days == 0 {
		return math.Max(0.3, unmeasuredC*(0.6-0.5*c)), unmeasuredSD
	}
	return d.at(c, s), d.SD
}

// ChanceAbove is the chance that the warmest hour of a day is above a line, °C,
// given possible daily means.
func (d Diel) ChanceAbove(day int, means []float64, line float64) float64 {
	if len(means) == 0 {
		return math.NaN()
	}
	up, sd := d.Above(day)
	p := 0.0
	for _, m := range means {
		if sd <= 0 {
			if m+up > line {
				p++
			}
			continue
		}
		p += distuv.UnitNormal.CDF((m + up - line) / sd)
	}
	return p / float64(len(means))
}

// Top is the temperature, °C, that the warmest hour of a day stays below with a
// chance of p, given possible daily means.
func (d Diel) Top(day int, means []float64, p float64) float64 {
	low, high := 0.0, 60.0
	for range 40 {
		if middle := (low + high) / 2; d.ChanceAbove(day, means, middle) > 1-p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// HoursAbove is how many hours of a day lie above a line, °C, where the water
// goes up and down by so much about its mean as a cosine does.
func HoursAbove(mean, up, line float64) float64 {
	switch x := line - mean; {
	case x >= up:
		return 0
	case x <= -up:
		return 24
	default:
		return 24 / math.Pi * math.Acos(x/up)
	}
}
