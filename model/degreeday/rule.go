package degreeday

import (
	"fmt"
	"math"
	"strings"
)

// Method is how a day's temperature curve is drawn from its extremes.
type Method int

// The methods. The four averages differ in what is clipped; the waves draw a
// half-wave from minimum to maximum, single with today's minimum on both sides,
// double with tomorrow's minimum on the falling side.
const (
	// AverageMean is max(0, mean - lower); the upper threshold is not used.
	AverageMean Method = iota
	// AverageClampMean clamps the mean to the thresholds (method 1 of McMaster
	// and Wilhelm 1997, Agric. For. Meteorol. 87, 291-300).
	AverageClampMean
	// AverageClipLower raises both extremes to the lower threshold.
	AverageClipLower
	// AverageClipBoth also lowers both to the upper one (method 2 of the same
	// paper; "86/50" in °F).
	AverageClipBoth
	SingleTriangle
	DoubleTriangle
	SingleSine
	DoubleSine
	// Huber is single sine with the horizontal cut-off, except that a day lying
	// wholly between the thresholds counts 0.3 °F less, at least 0.
	Huber
)

var methodNames = []string{
	"average", "average-clamp-mean", "average-clip-lower", "average-clip-both",
	"single-triangle", "double-triangle", "single-sine", "double-sine", "huber",
}

func (m Method) String() string { return methodNames[m] }

// ParseMethod reads a method's name.
func ParseMethod(s string) (Method, error) {
	for i, n := range methodNames {
		if s == n {
			return Method(i), nil
		}
	}
	return 0, fmt.Errorf("unknown method %q: use one of %s", s, strings.Join(methodNames, ", "))
}

// Cutoff is what happens above the upper threshold.
type Cutoff int

// The cut-offs: development goes on at the rate of the upper threshold
// (horizontal), slows down again (intermediate) or stops (vertical).
const (
	Horizontal Cutoff = iota
	Intermediate
	Vertical
)

var cutoffNames = []string{"horizontal", "intermediate", "vertical"}

func (c Cutoff) String() string { return cutoffNames[c] }

// ParseCutoff reads a cut-off's name.
func ParseCutoff(s string) (Cutoff, error) {
	for i, n := range cutoffNames {
		if s == n {
			return Cutoff(i), nil
		}
	}
	return 0, fmt.Errorf("unknown cut-off %q: use one of %s", s, strings.Join(cutoffNames, ", "))
}

// Unit is a temperature scale. Thresholds, temperatures and degree-days of one
// Rule are all in its unit.
type Unit int

// The scales.
const (
	Celsius Unit = iota
	Fahrenheit
)

// Rule is one way of counting degree-days.
type Rule struct {
	Method Method
	Cutoff Cutoff
	Lower  float64
	Upper  float64 // +Inf when there is none
	Unit   Unit
}

// Validate says what is wrong with the thresholds.
func (r Rule) Validate() error {
	switch {
	case math.IsNaN(r.Lower) || math.IsInf(r.Lower, 0):
		return fmt.Errorf("lower threshold %g is no temperature", r.Lower)
	case math.IsNaN(r.Upper) || math.IsInf(r.Upper, -1):
		return fmt.Errorf("upper threshold %g is no temperature", r.Upper)
	case r.Upper <= r.Lower:
		return fmt.Errorf("upper threshold %g is not above the lower one %g", r.Upper, r.Lower)
	case r.Method < 0 || int(r.Method) >= len(methodNames):
		return fmt.Errorf("unknown method %d", r.Method)
	case r.Cutoff < 0 || int(r.Cutoff) >= len(cutoffNames):
		return fmt.Errorf("unknown cut-off %d", r.Cutoff)
	case r.Method <= AverageClipBoth && r.Cutoff != Horizontal, r.Method == Huber && r.Cutoff != Horizontal:
		return fmt.Errorf("method %s knows only the horizontal cut-off", r.Method)
	}
	return nil
}

// huberLessF is what the Huber method takes off a day between the thresholds,
// °F·d. Source: the open UC IPM heat-unit rules; no other source was found.
const huberLessF = 0.3

// Day is the degree-days of one day from its minimum, its maximum and the
// minimum of the next day (read by the double methods only). It is NaN when a
// value is missing or the minimum is above the maximum.
//
// With E(c) the mean excess over a threshold c and F(c) the share of the day
// above it (see wave), lower threshold L and upper U:
//
//	horizontal    H = E(L) - E(U)
//	vertical      V = H - (U-L) F(U)
//	intermediate  I = max(V, H - E(U)), on the day's total
//
// as in Zalom et al. 1983 (UC Leaflet 21373); the floor of the intermediate
// cut-off at the vertical total is how the UC IPM service counts, verified on
// its own output. Result in °C·d or °F·d by the rule's unit.
func (r Rule) Day(tmin, tmax, nextMin float64) float64 {
	if !(tmin <= tmax) {
		return math.NaN()
	}
	switch r.Method {
	case AverageMean:
		return max(0, (tmin+tmax)/2-r.Lower)
	case AverageClampMean:
		return min(max((tmin+tmax)/2, r.Lower), r.Upper) - r.Lower
	case AverageClipLower:
		return (max(tmin, r.Lower)+max(tmax, r.Lower))/2 - r.Lower
	case AverageClipBoth:
		return (min(max(tmin, r.Lower), r.Upper)+min(max(tmax, r.Lower), r.Upper))/2 - r.Lower
	case Huber:
		if tmin >= r.Lower && tmax <= r.Upper {
			less := huberLessF
			if r.Unit == Celsius {
				less *= 5.0 / 9
			}
			return max(0, (tmin+tmax)/2-r.Lower-less)
		}
		return r.cut(sineHalf(tmin, tmax, r.Lower, r.Upper))
	case SingleTriangle:
		return r.cut(triangleHalf(tmin, tmax, r.Lower, r.Upper))
	case SingleSine:
		return r.cut(sineHalf(tmin, tmax, r.Lower, r.Upper))
	case DoubleTriangle, DoubleSine: // two half-waves, below
	}
	if math.IsNaN(nextMin) {
		return math.NaN()
	}
	// After a front the next minimum may lie above today's maximum: the second
	// half-wave then rises, and the time spent at each temperature is the same.
	lo, hi := min(nextMin, tmax), max(nextMin, tmax)
	var a, b half
	if r.Method == DoubleTriangle {
		a, b = triangleHalf(tmin, tmax, r.Lower, r.Upper), triangleHalf(lo, hi, r.Lower, r.Upper)
	} else {
		a, b = sineHalf(tmin, tmax, r.Lower, r.Upper), sineHalf(lo, hi, r.Lower, r.Upper)
	}
	return r.cut(half{(a.overL + b.overL) / 2, (a.overU + b.overU) / 2, (a.shareU + b.shareU) / 2})
}

// cut applies the cut-off to a day's excesses.
func (r Rule) cut(h half) float64 {
	horizontal := h.overL - h.overU
	if r.Cutoff == Horizontal || h.shareU == 0 {
		return horizontal
	}
	vertical := horizontal - (r.Upper-r.Lower)*h.shareU
	if r.Cutoff == Vertical {
		return max(0, vertical)
	}
	return max(0, vertical, horizontal-h.overU)
}

// Days is Day for a run of consecutive days. The last day, which has no
// tomorrow, lends its own minimum, as the UC IPM service does; so does a day
// whose tomorrow is missing.
func (r Rule) Days(tmin, tmax []float64) ([]float64, error) {
	if err := r.Validate(); err != nil {
		return nil, err
	}
	if len(tmin) != len(tmax) {
		return nil, fmt.Errorf("%d minima but %d maxima", len(tmin), len(tmax))
	}
	out := make([]float64, len(tmin))
	for i := range tmin {
		next := tmin[i]
		if i+1 < len(tmin) && !math.IsNaN(tmin[i+1]) {
			next = tmin[i+1]
		}
		out[i] = r.Day(tmin[i], tmax[i], next)
	}
	return out, nil
}
