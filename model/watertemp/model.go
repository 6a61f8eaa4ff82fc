package watertemp

import (
	"fmt"
	"math"
)

// Input is a daily history. All columns have one length and begin at Day0, in
// days since 1970-01-01. NaN is unknown. Flow may be nil.
type Input struct {
	Day0             int
	Air, Water, Flow []float64 // °C, °C, m3/s
}

func (in Input) check() error {
	n := len(in.Air)
	if len(in.Water) != n || in.Flow != nil && len(in.Flow) != n {
		return fmt.Errorf("air, water and flow have %d, %d and %d days", n, len(in.Water), len(in.Flow))
	}
	return nil
}

// parameters of the heat budget, in the order of the fit.
const (
	pA1  = iota // °C/d
	pA2         // 1/d
	pA3         // 1/d
	pA4         // exponent of theta
	pA5         // °C/d
	pC6         // °C/d
	pS6         // °C/d
	pA8         // 1/d
	pC1         // °C/d
	pS1         // °C/d
	pMix        // share of the air of the day before
	nParam
)

// Params are the fitted numbers of a reach, by the indices above.
type Params [nParam]float64

// Model is a fitted reach.
type Model struct {
	Params   Params
	MeanFlow float64 // m3/s of the fit; 0 if flow was not used
	NormalQ  [12]float64
	Season   [5]float64 // residual's mean: 1, cos w, sin w, cos 2w, sin 2w
	Phi      float64    // lag-1 correlation of the residual
	Sigma    float64    // standard deviation of the residual, °C
	Days     int        // of water temperature behind the fit
	Years    float64
	Grade    string // measured here / prior
	Regime   string // in words
	Diel     Diel
}

const twoPi = 2 * math.Pi

// angle of a day in the year, counted from 1 January.
func angle(day int) float64 {
	// 1970-01-01 was a 1 January, and the drift against leap years stays
	// below a day.
	return twoPi * math.Mod(float64(day)+0.5, 365.25) / 365.25
}

// harmonics of every day of a span, computed once for all simulations.
type harmonics struct{ cos, sin []float64 }

func harmonicsOf(day0, n int) harmonics {
	h := harmonics{make([]float64, n), make([]float64, n)}
	for i := range n {
		h.sin[i], h.cos[i] = math.Sincos(angle(day0 + i))
	}
	return h
}

// thetaRange bounds the flow ratio: a flood of hundreds of times the mean says
// nothing more to a lumped model.
const thetaLow, thetaHigh = 0.02, 50.0

// leastRate keeps the water tied to the air, 1/d: memory of half a year and more
// is not that of a river.
const leastRate = 0.005

// simulate runs the daily step. logTheta is nil without flow. out may be the
// buffer of an earlier run.
func (p *Params) simulate(out, air, logTheta []float64, h harmonics, start float64) []float64 {
	t := start
	before := air[0]
	for i, a := range air {
		ta := a + p[pMix]*(before-a)
		before = a
		theta, inv := 1.0, 1.0
		if logTheta != nil {
			theta = math.Exp(logTheta[i])
			inv = math.Exp(-p[pA4] * logTheta[i])
		}
		num := (p[pA1] + p[pA2]*ta + p[pC1]*h.cos[i] + p[pS1]*h.sin[i] + theta*(p[pA5]+p[pC6]*h.cos[i]+p[pS6]*h.sin[i])) * inv
		rate := math.Max((p[pA3]+theta*p[pA8])*inv, leastRate)
		eq := num / rate
		t = eq + (t-eq)*math.Exp(-rate)
		if t < 0 {
			t = 0
		}
		out[i] = t
	}
	return out
}

// season is the mean of the residual on a day, °C.
func (m *Model) season(h harmonics, i int) float64 {
	c, s := h.cos[i], h.sin[i]
	b := &m.Season
	return b[0] + b[1]*c + b[2]*s + b[3]*(c*c-s*s) + b[4]*2*c*s
}

// logTheta is the log of flow over its mean, with days of unknown flow at the
// normal of their month; nil if the model does not use flow.
func (m *Model) logTheta(day0 int, flow []float64, n int) []float64 {
	if m.MeanFlow == 0 {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		q := math.NaN()
		if i < len(flow) {
			q = flow[i]
		}
		if math.IsNaN(q) || q < 0 {
			q = m.NormalQ[month(day0+i)]
		}
		out[i] = math.Log(math.Min(math.Max(q/m.MeanFlow, thetaLow), thetaHigh))
	}
	return out
}

// month of a day, 0 to 11, by twelfths of a year: near enough for a normal.
func month(day int) int {
	return int(math.Mod(float64(day)+0.5, 365.25) / 365.25 * 12)
}

// Simulate gives the water temperature of every day, °C, from air, °C, and
// flow, m3/s (nil if unknown), starting at the given temperature the day
// before. Unknown air is bridged by the days around it.
func (m *Model) Simulate(day0 int, air, flow []float64, start float64) []float64 {
	n := len(air)
	h := harmonicsOf(day0, n)
	out := make([]float64, n)
	if n == 0 {
		return out
	}
	m.Params.simulate(out, bridged(air), m.logTheta(day0, flow, n), h, start)
	for i := range out {
		out[i] = math.Max(0, out[i]+m.season(h, i))
	}
	return out
}

// bridged fills unknown days on a straight line between their neighbours.
func bridged(v []float64) []float64 {
	out := make([]float64, len(v))
	last := -1
	for i, x := range v {
		out[i] = x
		if math.IsNaN(x) {
			continue
		}
		for j := last + 1; j < i; j++ {
			if last < 0 {
				out[j] = x
			} else {
				f := float64(j-last) / float64(i-last)
				out[j] = v[last] + f*(x-v[last])
			}
		}
		last = i
	}
	for j := last + 1; j < len(v); j++ {
		if last >= 0 {
			out[j] = v[last]
		} else {
			out[j] = 0
		}
	}
	return out
}
