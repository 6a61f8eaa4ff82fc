package flow

import (
	"fmt"
	"math"

	"example.org/eclose/model/elementary"
)

// Input is a daily history. All columns have one length and begin at Day0, in days
// since 1970-01-01. NaN is unknown. Air and Rain may be nil.
type Input struct {
	Day0 int
	Flow []float64 // m3/s
	Air  []float64 // °C
	Rain []float64 // mm, rain and snow together
}

// Until returns the history before a day, counted from 1970-01-01.
func (in Input) Until(day int) Input {
	return in.until(min(max(0, day-in.Day0), len(in.Flow)))
}

func (in Input) check() error {
	if n := len(in.Flow); in.Air != nil && len(in.Air) != n || in.Rain != nil && len(in.Rain) != n {
		return fmt.Errorf("flow, air and rain have %d, %d and %d days", n, len(in.Air), len(in.Rain))
	}
	return nil
}

// Model is a fitted river.
type Model struct {
	Days  int     // of flow behind the fit
	Years float64 // the same in years
	Air   bool    // the flow is driven by air temperature
	Rain  bool    // and by rain

	offset      float64 // m3/s added before the logarithm, so that a dry bed has one
	low, high   float64 // bounds of log flow
	climate     wave    // of log flow
	airWave     wave    // °C
	meltWave    wave
	snowWave    wave
	rainWave    wave
	lapse       float64 // °C
	factors     [numFeatures]float64
	sizes       [numSizes]float64
	errorDay0   int
	errors      []float64 // by day, in sizes; NaN where unknown
	corrections [numKnots]Correction
	traits      []trait
	traitSD     trait
	past        []float64         // anomalies of log flow by day of the fit
	keeps       [keptDays]float64 // share of an anomaly that is left after days
}

// TooLittleError says how many days of flow a fit lacks.
type TooLittleError struct{ Have, Need int }

func (e *TooLittleError) Error() string {
	return fmt.Sprintf("%d days of flow; a fit needs %d", e.Have, e.Need)
}

// minDays is the least record for a fit: a climatology needs most of a year.
const minDays = 300

// log returns the logarithm of a flow, m3/s; NaN for an unknown one and for flow that
// runs backwards.
func (m *Model) log(q float64) float64 {
	if unknown(q) || q < 0 {
		return math.NaN()
	}
	return elementary.Log(q + m.offset)
}

// flow undoes log.
func (m *Model) flow(y float64) float64 { return max(0, elementary.Exp(y)-m.offset) }

// normal is the climatology of a day's weather, in what the features take: the same for all
// members.
type normal struct{ air, melt, snow, rain float64 }

// normalOn is the climatology of a day; what the model does without stays 0.
func (m *Model) normalOn(day int) (n normal) {
	if m.Air {
		n.air, n.melt, n.snow = m.airWave.at(day), m.meltWave.at(day), m.snowWave.at(day)
	}
	if m.Rain {
		n.rain = m.rainWave.at(day)
	}
	return n
}

// weather makes the inputs of the features from a day's air (°C), its rain (mm) and the
// snowpack p before it. Unknown air or rain (NaN) counts as its climatology.
func (m *Model) weather(n *normal, air, mm float64, p *pack) (w weather) {
	if !m.Rain {
		mm = math.NaN()
	}
	if !m.Air {
		if !unknown(mm) {
			w.rain = rainOf(mm, 10) - n.rain
		}
		return w
	}
	a := n.air
	if !unknown(air) {
		a = air
	}
	w.air = a - n.air
	melt := p.day(a-m.lapse, mm)
	w.melt = logOnePlus(melt) - n.melt
	w.snow = logOnePlus(p.held/snowUnit) - n.snow
	if !unknown(mm) {
		w.rain = rainOf(mm, a-m.lapse/2) - n.rain
	}
	return w
}

// valueOn is a day of a column, NaN where the column does not reach.
func valueOn(v []float64, i int) float64 {
	if i < len(v) {
		return v[i]
	}
	return math.NaN()
}

// logOnePlus is the logarithm of 1 + v, v >= 0; most days have no snow, melt or rain.
func logOnePlus(v float64) float64 {
	if v == 0 {
		return logOne
	}
	return elementary.Log(1 + v)
}

var logOne = elementary.Log(1) // 0 but for rounding

// snowUnit, °C·d, and rainUnit, mm, are below which a pack and a day's rain count in
// proportion and above which ever less. Our own defaults.
const snowUnit, rainUnit = 50.0, 5.0

// rainOf is the part of a day's water, mm, that falls as rain at a temperature, in
// the measure of the feature.
func rainOf(mm, airC float64) float64 {
	liquid := min(max((airC-snowBelowC)/snowWidthC, 0), 1)
	return logOnePlus(mm * liquid / rainUnit)
}
