package watertemp

import (
	"math"

	"example.org/eclose/model/elementary"
)

// Model is a fitted reach.
type Model struct {
	Params            Params
	Lags              *Lags        // the second opinion; nil without a thermometer
	Kriged            *Kriged      // what both leave; nil likewise
	Air               year         // the air's wave through the year, °C: what the features are centred on
	MeanFlow          float64      // m3/s: geometric mean of the fit; 0 if flow was not used
	Flow              year         // wave of the logarithm of the flow ratio
	Water             year         // wave of the water, °C
	Climatology       *Climatology // of the water; nil where it has no say
	ClimatologyWeight float64      // its share in the answer
	Error             Error
	Days              int     // of water temperature behind the fit
	Years             float64 // the same in years
	Grade             ModelGrade
	Regime            string // in words
	Diel              Diel
	FromDonor         bool    // a donor has a say
	Localized         bool    // Air, MeanFlow and Flow are known
	krigedRMS         float64 // root mean square of Kriged over the fit, °C
	descriptors       [nClimate]float64
	unfitted          bool // Params come with the place
	donorAdjustment   Params
	departs           *departure // from the heat budget, foretold by rivers alike; nil where none is
	alikeness         float64    // how much of the departure those rivers tell, 0 to 1
	shows             [nShown]float64
	donor, asDonor    *donorSurprise // what a river near by adds to this one, and this one to others
	beside            *Model         // what rivers alike say, while the readings are few; nil otherwise
	besideShare       float64        // its share in the answer
}

// localize learns what the reach is like from a record: the waves of its air and
// flow, which a model that was not fitted here lacks. It gives the logarithm of
// the flow over its middle; nil where too little of it is known.
func (m *Model) localize(in Input) (logFlow []float64) {
	m.Localized = true
	m.Air, _ = yearOf(in.Day0, in.Air)
	logFlow = m.localizeFlow(in)
	if m.unfitted {
		m.fitDescriptors(in, logFlow)
		m.useRegional()
		m.learn(in, logFlow)
	}
	return logFlow
}

// localizeFlow is the flow's part of it.
func (m *Model) localizeFlow(in Input) (logs []float64) {
	m.MeanFlow, m.Flow = 0, year{}
	logs = make([]float64, len(in.Flow))
	sum, n := 0.0, 0
	for i, q := range in.Flow {
		switch {
		case unknown(q) || q < 0:
			logs[i] = math.NaN()
			continue
		case q == 0:
			logs[i] = math.Inf(-1) // a dry bed is known, but has no place in a mean of logarithms
			continue
		}
		logs[i] = math.Log(q) // the library's: gauges give few digits, and ties decide what shown tells
		sum += logs[i]
		n++
	}
	if n < minFlowDays {
		return nil
	}
	mean := sum / float64(n)
	m.MeanFlow = math.Exp(mean)
	for i := range logs {
		logs[i] = min(max(logs[i]-mean, logFlowLow), logFlowHigh)
	}
	m.Flow, _ = yearOf(in.Day0, logs)
	return logs
}

// useRegional gives a model that is placed but not fitted its parameters.
func (m *Model) useRegional() {
	m.Params = m.regional()
	for i := range m.Params {
		m.Params[i] += m.donorAdjustment[i]
	}
}

// minFlowDays is how many days of flow it takes to know what is usual.
const minFlowDays = 300

// logRatio is the logarithm of the flow over its middle, within bounds. NaN is
// for unknown, and for flow that runs backwards.
func (m *Model) logRatio(q float64) float64 {
	if unknown(q) || q < 0 {
		return math.NaN()
	}
	return elementary.Log(min(max(q/m.MeanFlow, flowLow), flowHigh))
}

// At is the model at a record's reach, by all that the record shows. A model that was
// fitted is there already.
func (m Model) At(in Input) Model { return *m.localized(in) }

// localized is the model placed at a record's reach.
func (m *Model) localized(in Input) *Model {
	if m.Localized {
		return m
	}
	c := *m
	c.localize(in)
	return &c
}

// Days over which a departure of the air or the flow from its season dies away
// where it is unknown.
const airDies, flowDies = 4.0, 25.0

// forcing are the columns that move the model, without gaps.
func (m *Model) forcing(day0 int, air, flow []float64) (a, q []float64) {
	a = bridged(day0, air, m.Air, airDies)
	if m.MeanFlow == 0 {
		return a, nil
	}
	q = make([]float64, len(air))
	for i := range q {
		q[i] = math.NaN()
		if i < len(flow) {
			q[i] = m.logRatio(flow[i])
		}
	}
	return a, bridged(day0, q, m.Flow, flowDies)
}

// begin is the memory of a usual season up to the day before.
func (m *Model) begin(day int) state {
	s, c := wave(day - 1)
	return state{
		prev: m.Air.at(c, s), fast: m.Air.filtered(day-1, tauFast), slow: m.Air.filtered(day-1, tauSlow),
		verySlow: m.Air.filtered(day-1, tauVerySlow), flow: m.Flow.at(c, s), flowSlow: m.Flow.filtered(day-1, tauFlow),
	}
}

// run moves the model through whole drivers from a memory and a temperature, both
// as of the day before, and gives both as of the last day. The temperature that
// the model goes on from is its own, without the share of the normal.
func (m *Model) run(out []float64, day0 int, air, flow []float64, h harmonics, mem state, t float64) (state, float64) {
	k, begun, start := m.Params.rates(m.Air[0]), mem, t
	lags := h.lags
	if lags == nil {
		lags = m.Lags.days(h)
	}
	var r row
	for i, a := range air {
		q := 0.0
		if flow != nil {
			q = flow[i]
		}
		mem.day(&r, m.Air[0], a, q, h.cos[i], h.sin[i])
		t = k.step(t, &r)
		out[i] = t
		if lags != nil {
			out[i] = m.Lags.combine(t, &r, &lags[i], m.Air[0])
		}
		if m.Kriged != nil {
			out[i] = max(0, out[i]+m.Kriged.at(day0+i, &r))
		}
		if m.departs != nil {
			out[i] = max(0, out[i]+m.departs.at(&r))
		}
	}
	m.mix(out, day0)
	if m.beside != nil {
		h.lags = nil // the other's
		other := make([]float64, len(out))
		m.beside.run(other, day0, air, flow, h, begun, start)
		for i, o := range other {
			out[i] += m.besideShare * (o - out[i])
		}
	}
	return mem, t
}

// mix gives the normal its share.
func (m *Model) mix(out []float64, day0 int) {
	if m.Climatology == nil {
		return
	}
	for i, t := range out {
		if c := m.Climatology.At(day0 + i); !math.IsNaN(c) {
			out[i] = t + m.ClimatologyWeight*(max(0, c)-t)
		}
	}
}

// Simulate gives the water temperature of every day, °C, from air, °C, and
// flow, m3/s (nil if unknown), starting at the given temperature the day before
// (NaN: a usual one). Unknown days are bridged. What came before the first day
// is taken to have been usual.
func (m *Model) Simulate(day0 int, air, flow []float64, start float64) []float64 {
	n := len(air)
	out := make([]float64, n)
	if n == 0 {
		return out
	}
	m = m.localized(Input{Day0: day0, Air: air, Flow: flow})
	a, q := m.forcing(day0, air, flow)
	if math.IsNaN(start) {
		start = max(0, m.Air.filtered(day0-1, tauFast))
	}
	m.run(out, day0, a, q, harmonicsOf(day0, n), m.begin(day0), start)
	return out
}
