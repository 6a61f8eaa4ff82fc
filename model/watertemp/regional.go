package watertemp

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// What weather and flow show of a reach without a thermometer.
const (
	cOne     = iota
	cAir     // the air's mean over the years
	cSwing   // its yearly swing
	cUnrest  // how far it strays from its wave
	cSize    // logarithm of the flow
	cFlowCos // the flow's wave through the year: melt, winter rain
	cFlowSin
	cLow     // how low it falls, over its middle
	cHigh    // how high it rises
	cChange  // how much it changes on a usual day: a spring hardly, a flashy brook much
	cRecede  // how fast it falls
	cFlowAir // whether it rises on days that warm (melt) or that cool (rain)
	nClimate
)

// climate is those numbers, centred and scaled so that most rivers lie within 2
// of 0, where also lies what is not known.
func (m *Model) climate() (c [nClimate]float64) {
	c[cOne] = 1
	c[cAir], c[cSwing] = (m.Air[0]-11)/5, (math.Hypot(m.Air[1], m.Air[2])-11)/3
	c[cUnrest] = m.descriptors[cUnrest]
	if m.MeanFlow > 0 {
		c[cSize], c[cFlowCos], c[cFlowSin] = (math.Log(m.MeanFlow)-1.5)/1.5, m.Flow[1], m.Flow[2]
		copy(c[cLow:], m.descriptors[cLow:])
	}
	const far = 2.5 // lines do not hold far outside the rivers they were drawn through
	for i := 1; i < nClimate; i++ {
		c[i] = min(max(c[i], -far), far)
	}
	return c
}

// fitDescriptors works out the numbers of climate that take a record to tell, 0 where it
// is too short: from the air and the logarithm of the flow over its middle (nil: not
// known).
func (m *Model) fitDescriptors(in Input, logFlow []float64) {
	m.descriptors = [nClimate]float64{}
	// scaled by middle and spread over the gauges behind the pooled tables
	set := func(c int, v, middle, spread float64) {
		if !unknown(v) {
			m.descriptors[c] = (v - middle) / spread
		}
	}
	var stray []float64
	for i, a := range in.Air {
		if !unknown(a) {
			sin, cos := wave(in.Day0 + i)
			stray = append(stray, a-m.Air.at(cos, sin))
		}
	}
	if len(stray) >= minFlowDays {
		set(cUnrest, stat.StdDev(stray, nil), 3.86, 0.63)
	}
	if logFlow == nil {
		return
	}
	var level, change, falls, flowRises, airRises []float64
	before := math.NaN()
	for i, q := range logFlow[:min(len(logFlow), len(in.Air))] {
		if !unknown(q) {
			level = append(level, q)
		}
		d := q - before
		before = q
		if unknown(d) {
			continue
		}
		change = append(change, math.Abs(d))
		if d < 0 {
			falls = append(falls, -d)
		}
		if rise := in.Air[i] - in.Air[i-1]; !unknown(rise) {
			flowRises, airRises = append(flowRises, d), append(airRises, rise)
		}
	}
	slices.Sort(level)
	slices.Sort(change)
	if len(change) < minFlowDays {
		return
	}
	const least = 0.003 // of a logarithm: gauges tell no less
	set(cLow, between(level, 0.1), -1.2, 0.62)
	set(cHigh, between(level, 0.98), 2.02, 0.74)
	set(cChange, math.Log(between(change, 0.5)+least), -2.76, 0.87)
	set(cRecede, math.Log(stat.Mean(falls, nil)+least), -2.16, 0.69)
	set(cFlowAir, stat.Correlation(flowRises, airRises, nil), -0.024, 0.097)
}

// regional is the parameters that rivers in such a climate have, by linear
// regression over the same gauges and years as the pooled prior.
func (m *Model) regional() (p Params) { return pooled.around(m.climate()) }
