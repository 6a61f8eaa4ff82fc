package watertemp

import (
	"math"

	"gonum.org/v1/gonum/optimize"
)

// Logistic is the static S-shaped curve of water on the mean of today's and
// yesterday's air, both °C (Mohseni and others 1998, Water Resour. Res. 34,
// 2685-2692): Low + (High - Low) / (1 + exp(Steepness (Middle - air))).
type Logistic struct{ Low, High, Middle, Steepness float64 }

// FitLogistic fits the curve by least squares, with Low not below 0 °C.
func FitLogistic(in Input) Logistic {
	var x, y []float64
	for i := 1; i < len(in.Air); i++ {
		if a := (in.Air[i] + in.Air[i-1]) / 2; !math.IsNaN(a) && !math.IsNaN(in.Water[i]) {
			x, y = append(x, a), append(y, in.Water[i])
		}
	}
	if len(x) < 30 {
		return Logistic{Low: math.NaN(), High: math.NaN()}
	}
	// With the middle and the steepness given, the rest is linear.
	solve := func(v []float64) (Logistic, float64) {
		l := Logistic{Middle: v[0], Steepness: math.Exp(v[1])}
		var n, sg, sgg, sy, sgy, syy float64
		for i := range x {
			g := 1 / (1 + math.Exp(l.Steepness*(l.Middle-x[i])))
			n++
			sg += g
			sgg += g * g
			sy += y[i]
			sgy += g * y[i]
			syy += y[i] * y[i]
		}
		span := 0.0
		if det := n*sgg - sg*sg; det > 1e-9*n*n {
			span = (n*sgy - sg*sy) / det
			l.Low = (sy - span*sg) / n
		} else {
			l.Low = sy / n
		}
		if l.Low < 0 {
			l.Low, span = 0, sgy/sgg
		}
		l.High = l.Low + span
		return l, syy - 2*l.Low*sy - 2*span*sgy + n*l.Low*l.Low + 2*l.Low*span*sg + span*span*sgg
	}
	best, least := Logistic{}, math.Inf(1)
	for _, middle := range []float64{5, 12} {
		r, err := optimize.Minimize(optimize.Problem{Func: func(v []float64) float64 {
			if v[1] > 2 || v[1] < -5 {
				return math.Inf(1)
			}
			_, c := solve(v)
			return c
		}}, []float64{middle, math.Log(0.2)}, &optimize.Settings{MajorIterations: 400}, &optimize.NelderMead{})
		if r == nil || err != nil && r.X == nil {
			continue
		}
		if l, c := solve(r.X); c < least {
			best, least = l, c
		}
	}
	return best
}

// At is the curve on every day; NaN where the air of either day is unknown.
func (l Logistic) At(air []float64) []float64 {
	out := make([]float64, len(air))
	for i := range air {
		a := (air[i] + air[max(0, i-1)]) / 2
		out[i] = l.Low + (l.High-l.Low)/(1+math.Exp(l.Steepness*(l.Middle-a)))
	}
	return out
}

// Climatology is the mean water temperature by day of the year, °C, over all
// years and the week to either side.
type Climatology [366]float64

// FitClimatology learns it; NaN where no day within the window is known.
func FitClimatology(day0 int, water []float64) Climatology {
	var sum, n, out Climatology
	for i, w := range water {
		if !math.IsNaN(w) {
			k := yearDay(day0 + i)
			sum[k] += w
			n[k]++
		}
	}
	for k := range out {
		s, m := 0.0, 0.0
		for d := -7; d <= 7; d++ {
			j := (k + d + 366) % 366
			s += sum[j]
			m += n[j]
		}
		out[k] = s / m
	}
	return out
}

// At is the normal of a day, °C.
func (c *Climatology) At(day int) float64 { return c[yearDay(day)] }

// yearDay numbers the days of a year from 0, without a calendar: a day early or
// late is within the window.
func yearDay(day int) int {
	return int(math.Mod(math.Mod(float64(day), 365.25)+365.25, 365.25))
}
