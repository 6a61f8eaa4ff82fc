package watertemp

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Input is a daily history. All columns have one length and begin at Day0, in
// days since 1970-01-01. NaN is unknown, and so is an infinite value. Flow may
// be nil.
type Input struct {
	Day0             int
	Air, Water, Flow []float64 // °C, °C, m3/s
	DrainageKm2      float64   // the area that drains to the gauge of the flow, km2; 0 if unknown
}

func (in Input) check() error {
	n := len(in.Air)
	if len(in.Water) != n || in.Flow != nil && len(in.Flow) != n {
		return fmt.Errorf("air, water and flow have %d, %d and %d days", n, len(in.Water), len(in.Flow))
	}
	return nil
}

// slice is the days from one index to another.
func (in Input) slice(from, to int) Input {
	out := Input{Day0: in.Day0 + from, Air: in.Air[from:to], Water: in.Water[from:to], DrainageKm2: in.DrainageKm2}
	if in.Flow != nil {
		out.Flow = in.Flow[from:to]
	}
	return out
}

// unknown reports whether a value is none: not a number, or infinite.
func unknown(v float64) bool { return v-v != 0 }

const twoPi = 2 * math.Pi

// angle of a day in the year, counted from 1 January.
func angle(day int) float64 {
	// 1970-01-01 was a 1 January, and the drift against leap years stays
	// below a day.
	return twoPi * math.Mod(float64(day)+0.5, 365.25) / 365.25
}

// fourYears is after how many days the angles come again.
const fourYears = 1461

// waves are sine and cosine of the angles, worked out once.
var waves = func() (w [fourYears][2]float64) {
	for day := range w {
		w[day][0], w[day][1] = math.Sincos(angle(day))
	}
	return w
}()

// wave is sine and cosine of a day's angle.
func wave(day int) (sin, cos float64) {
	k := cycle(day)
	return waves[k][0], waves[k][1]
}

// cycle is a day's place among the four years.
func cycle(day int) int {
	k := day % fourYears
	if k < 0 {
		k += fourYears
	}
	return k
}

// harmonics of every day of a span, computed once for all simulations.
type harmonics struct {
	cos, sin []float64
	lags     []lagDay // factors of a regression on those days; nil until worked out
}

func harmonicsOf(day0, n int) harmonics {
	h := harmonics{cos: make([]float64, n), sin: make([]float64, n)}
	for i := range n {
		h.sin[i], h.cos[i] = wave(day0 + i)
	}
	return h
}

// year is a yearly wave: mean, cosine and sine of the day's angle.
type year [3]float64

func (y year) at(cos, sin float64) float64 { return y[0] + y[1]*cos + y[2]*sin }

// filtered is what an exponential mean over the past tau days makes of the wave
// on a day: smaller and later, by the response 1/(1 + i omega tau).
func (y year) filtered(day int, tau float64) float64 {
	w := twoPi / 365.25 * tau
	s, c := wave(day)
	// The real part of (b - i c)(cos + i sin)/(1 + i w).
	re, im := y[1]*c+y[2]*s, y[1]*s-y[2]*c
	return y[0] + (re+w*im)/(1+w*w)
}

// yearOf fits a yearly wave to the known days of a column by least squares. A
// column that shows less than most of a year gets a small wave, if any.
func yearOf(day0 int, v []float64) (y year, known int) {
	sum := 0.0
	for _, a := range v {
		if !unknown(a) {
			sum += a
			known++
		}
	}
	if known == 0 {
		return year{}, 0
	}
	mean := sum / float64(known)
	var x [3][3]float64
	var to [3]float64
	for i, a := range v {
		if unknown(a) {
			continue
		}
		s, c := wave(day0 + i)
		row := [3]float64{1, c, s}
		for j := range 3 {
			for k := range 3 {
				x[j][k] += row[j] * row[k]
			}
			to[j] += row[j] * (a - mean)
		}
	}
	m, r := mat.NewSymDense(3, nil), mat.NewVecDense(3, to[:])
	for j := range 3 {
		for k := j; k < 3; k++ {
			m.SetSym(j, k, x[j][k])
		}
		m.SetSym(j, j, x[j][j]+1)
	}
	y = year{mean}
	var ch mat.Cholesky
	var b mat.VecDense
	if ch.Factorize(m) && ch.SolveVecTo(&b, r) == nil {
		y = year{mean + b.AtVec(0), b.AtVec(1), b.AtVec(2)}
	}
	return y, known
}

// bridged fills unknown days with the wave of the year plus the departures of
// the days known before and after, which die away over the given days.
func bridged(day0 int, v []float64, y year, dies float64) []float64 {
	out := make([]float64, len(v))
	rest := make([]float64, len(v)) // what the day known after lends to the days before it
	k := math.Exp(-1 / dies)
	normal := func(i int) float64 {
		s, c := wave(day0 + i)
		return y.at(c, s)
	}
	// The wave is worked out only beside and in gaps: most days are known.
	d, beside := 0.0, -1
	for i := len(v) - 1; i >= 0; i-- {
		if !unknown(v[i]) {
			beside = i
			continue
		}
		if beside == i+1 {
			d = v[beside] - normal(beside)
		}
		d *= k
		rest[i] = d
	}
	d, beside = 0, -1
	w := 0.0
	for i, a := range v {
		if !unknown(a) {
			out[i], w, beside = a, 1, i
			continue
		}
		if beside >= 0 && beside == i-1 {
			d = v[beside] - normal(beside)
		}
		// The nearer neighbour weighs more; far from both nothing is left but
		// the wave.
		w *= k
		d *= k
		out[i] = normal(i) + d + (1-w)*rest[i]
	}
	return out
}

func firstKnown(v []float64) float64 {
	for _, x := range v {
		if !unknown(x) {
			return x
		}
	}
	return math.NaN()
}
