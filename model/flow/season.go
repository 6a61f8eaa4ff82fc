package flow

import "math"

// fourYears is after how many days the angles of the year repeat.
const fourYears = 1461

// angles are cosine and sine of a day's angle in the year and of twice and three
// times the angle, for four years from 1 January 1970.
var angles = func() (a [fourYears][2 * harmonics]float64) {
	for day := range a {
		year := 2 * math.Pi * math.Mod(float64(day)+0.5, 365.25) / 365.25
		for k := range harmonics {
			a[day][2*k+1], a[day][2*k] = math.Sincos(float64(k+1) * year)
		}
	}
	return a
}()

// harmonics is how many waves the climatology has: a rainy season and a melt season
// need two, their unequal lengths the third. Our own default.
const harmonics = 3

// seasonOf returns the angles of a day, counted from 1970-01-01.
func seasonOf(day int) *[2 * harmonics]float64 {
	k := day % fourYears
	if k < 0 {
		k += fourYears
	}
	return &angles[k]
}

// A wave is a smooth climatology: the mean, then a cosine and a sine of each harmonic.
type wave [1 + 2*harmonics]float64

func (w *wave) at(day int) float64 {
	a := seasonOf(day)
	return w[0] + w[1]*a[0] + w[2]*a[1] + w[3]*a[2] + w[4]*a[3] + w[5]*a[4] + w[6]*a[5]
}

// waveRidge, in days, holds the harmonics of a short record near zero, the higher ones
// more; chosen on the gauges of the pool (RESULTS.md).
const waveRidge = 300.0

// fitWave fits a climatology to the known days of a column by least squares.
func fitWave(day0 int, v []float64) wave {
	const n = 1 + 2*harmonics
	s := newNormal(n)
	var row [n]float64
	row[0] = 1
	mean, known := 0.0, 0.0
	for _, x := range v {
		if !unknown(x) {
			mean += x
			known++
		}
	}
	if known == 0 {
		return wave{}
	}
	mean /= known
	for i, x := range v {
		if unknown(x) {
			continue
		}
		copy(row[1:], seasonOf(day0 + i)[:])
		s.add(row[:], x-mean, 1)
	}
	var precision [n]float64
	for k := 1; k < n; k++ {
		precision[k] = waveRidge * float64((k+1)/2*((k+1)/2))
	}
	b, _ := s.solve(nil, precision[:])
	var w wave
	copy(w[:], b)
	w[0] += mean
	return w
}

// unknown reports whether a value is not a finite number.
func unknown(v float64) bool { return v-v != 0 }
