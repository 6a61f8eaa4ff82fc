package watertemp

import "math"

// What weather and flow show of a reach without a thermometer.
const (
	cOne     = iota
	cAir     // the air's mean over the years
	cSwing   // its yearly swing
	cSize    // logarithm of the flow
	cFlowCos // the flow's wave through the year: melt, winter rain
	cFlowSin
	nClimate
)

// climate is those numbers, centred and scaled so that most rivers lie within 2
// of 0.
func (m *Model) climate() (c [nClimate]float64) {
	c[cOne] = 1
	c[cAir], c[cSwing] = (m.Air[0]-11)/5, (math.Hypot(m.Air[1], m.Air[2])-11)/3
	if m.MeanFlow > 0 {
		c[cSize], c[cFlowCos], c[cFlowSin] = (math.Log(m.MeanFlow)-1.5)/1.5, m.Flow[1], m.Flow[2]
	}
	const far = 2.5 // lines do not hold far outside the rivers they were drawn through
	for i := 1; i < nClimate; i++ {
		c[i] = min(max(c[i], -far), far)
	}
	return c
}

// regional is the parameters that rivers in such a climate have, by linear
// regression over the same gauges and years as the pooled belief.
func (m *Model) regional() (p Params) {
	c := m.climate()
	for i := range p {
		for j := range c {
			p[i] += regionalTable[i][j] * c[j]
		}
	}
	return p
}
