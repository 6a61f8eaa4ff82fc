package wading

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
)

// Measurement is one visit of a gauger with a meter: section totals and means.
// A visit with several channels is one measurement: flow, width and area summed
// (see Merge). NaN where it was not measured.
type Measurement struct {
	ID         string
	At         time.Time
	FlowM3s    float64
	WidthM     float64
	AreaM2     float64
	VelocityMS float64 // section mean
	StageM     float64 // NaN or 0 when not given
	Wading     bool    // the gauger stood in the river
	Poor       bool    // rated poor by the gauger
	Ice        bool
}

// MeanDepthM is the area over the width.
func (m Measurement) MeanDepthM() float64 { return m.AreaM2 / m.WidthM }

// Usable reports whether a measurement may go into a fit: all four values above
// zero, no ice, not poor, and flow = area x velocity within 5 % (the last as in
// the qva filter of AHGestimation).
func (m Measurement) Usable() bool {
	return m.FlowM3s > 0 && m.WidthM > 0 && m.AreaM2 > 0 && m.VelocityMS > 0 && !m.Poor && !m.Ice &&
		math.Abs(m.AreaM2*m.VelocityMS/m.FlowM3s-1) <= 0.05
}

// Merge sums the channels of one visit (equal ID); the velocity becomes the
// mean over all of them. Order by first appearance.
func Merge(channels []Measurement) []Measurement {
	var out []Measurement
	at := map[string]int{}
	for _, c := range channels {
		i, seen := at[c.ID]
		if !seen || c.ID == "" {
			at[c.ID] = len(out)
			out = append(out, c)
			continue
		}
		m := &out[i]
		m.FlowM3s += c.FlowM3s
		m.WidthM += c.WidthM
		m.AreaM2 += c.AreaM2
		m.VelocityMS = m.FlowM3s / m.AreaM2
		m.Wading = m.Wading && c.Wading
		m.Poor, m.Ice = m.Poor || c.Poor, m.Ice || c.Ice
	}
	return out
}

// Power is y = Coef * flow^Exp, fitted to logs.
type Power struct {
	Coef, Exp float64
	S         float64 // residual standard deviation of ln y, n-2
}

// At is the fitted value at a flow.
func (p Power) At(flow float64) float64 { return p.Coef * math.Pow(flow, p.Exp) }

// Geometry is the at-a-station hydraulic geometry of a gauge section (Leopold
// and Maddock 1953, USGS PP 252): width, mean depth and mean velocity as powers
// of the flow, SI units.
type Geometry struct {
	Width, Depth, Velocity Power
	N                      int
	MinFlow, MaxFlow       float64 // m3/s, of the fitted measurements
	From, To               time.Time
	Scaled                 bool // not fitted: single measurements carried by mean exponents
}

// ErrTooFew says that there are not enough measurements to fit; see Scale.
var ErrTooFew = errors.New("too few usable channel measurements")

// minFit is the least number of rows for a fit (the floor of AHGestimation).
const minFit = 10

// FitGeometry fits the logs of width, mean depth and mean velocity on the log
// of the flow by least squares. It keeps the last 15 years and the highest flow,
// and wants ten usable rows over a decade of flow (highest at least ten times
// the lowest); else ErrTooFew. Log-log least squares gives medians: the margin of
// DVHigh covers that.
func FitGeometry(all []Measurement) (Geometry, error) {
	var rows []Measurement
	var last time.Time
	top := 0.0
	for _, m := range all {
		if m.Usable() {
			rows = append(rows, m)
			top = max(top, m.FlowM3s)
			if m.At.After(last) {
				last = m.At
			}
		}
	}
	recent := slices.DeleteFunc(slices.Clone(rows), func(m Measurement) bool {
		return m.At.Before(last.AddDate(-15, 0, 0)) && m.FlowM3s < top
	})
	if enough(recent) {
		rows = recent
	}
	if !enough(rows) {
		return Geometry{}, fmt.Errorf("%w: %d usable, wanted %d over a tenfold range of flow", ErrTooFew, len(rows), minFit)
	}
	return fit(rows), nil
}

func enough(rows []Measurement) bool {
	if len(rows) < minFit {
		return false
	}
	lo, hi := math.Inf(1), 0.0
	for _, m := range rows {
		lo, hi = min(lo, m.FlowM3s), max(hi, m.FlowM3s)
	}
	return hi >= 10*lo
}

func fit(rows []Measurement) Geometry {
	g := Geometry{MinFlow: math.Inf(1)}
	var q, w, d, v []float64
	for _, m := range rows {
		q, w = append(q, m.FlowM3s), append(w, m.WidthM)
		d, v = append(d, m.MeanDepthM()), append(v, m.VelocityMS)
		g.seen(m)
	}
	g.Width, g.Depth, g.Velocity = fitPower(q, w), fitPower(q, d), fitPower(q, v)
	return g
}

// fitPower fits y = Coef * q^Exp by least squares of ln y on ln q. Both must be
// positive and of one length, at least three.
func fitPower(q, y []float64) Power {
	lq, ly := make([]float64, len(q)), make([]float64, len(q))
	for i := range q {
		lq[i], ly[i] = math.Log(q[i]), math.Log(y[i])
	}
	a, b := stat.LinearRegression(lq, ly, nil, false)
	ss := 0.0
	for i := range lq {
		e := ly[i] - a - b*lq[i]
		ss += e * e
	}
	return Power{Coef: math.Exp(a), Exp: b, S: math.Sqrt(ss / float64(len(q)-2))}
}

// Mean at-a-station exponents of Leopold and Maddock 1953, USGS PP 252. They are
// for one gauge; those for going downstream are others.
const (
	meanWidthExp    = 0.26
	meanDepthExp    = 0.40
	meanVelocityExp = 0.34
	scaledS         = 0.20 // spread of ln d*v after such a carry, found at one gauge
)

// Scale carries every usable visit to other flows by the mean exponents and
// keeps the least favourable of them: the second rung of the ladder, for one to
// nine measurements. It does not depend on today's flow, so the limits that it
// gives stay where they are.
func Scale(all []Measurement) (Geometry, error) {
	g := Geometry{
		Width: Power{math.Inf(1), meanWidthExp, scaledS}, Depth: Power{0, meanDepthExp, scaledS}, Velocity: Power{0, meanVelocityExp, scaledS},
		MinFlow: math.Inf(1), Scaled: true,
	}
	for _, m := range all {
		if !m.Usable() {
			continue
		}
		g.Width.Coef = min(g.Width.Coef, m.WidthM/math.Pow(m.FlowM3s, meanWidthExp))
		g.Depth.Coef = max(g.Depth.Coef, m.MeanDepthM()/math.Pow(m.FlowM3s, meanDepthExp))
		g.Velocity.Coef = max(g.Velocity.Coef, m.VelocityMS/math.Pow(m.FlowM3s, meanVelocityExp))
		g.seen(m)
	}
	if g.N == 0 {
		return Geometry{}, fmt.Errorf("%w: none", ErrTooFew)
	}
	return g, nil
}

// seen counts a measurement in: its flow and its date.
func (g *Geometry) seen(m Measurement) {
	g.N++
	g.MinFlow, g.MaxFlow = min(g.MinFlow, m.FlowM3s), max(g.MaxFlow, m.FlowM3s)
	if !m.At.IsZero() && (g.From.IsZero() || m.At.Before(g.From)) {
		g.From = m.At
	}
	if m.At.After(g.To) {
		g.To = m.At
	}
}

// DV is the section-mean depth times velocity at a flow, m2/s. Since depth is
// area over width and velocity is flow over area, it is simply flow over width:
// flow^(1-b)/a with width = a flow^b.
func (g Geometry) DV(flowM3s float64) float64 { return flowM3s / g.Width.At(flowM3s) }

// DVHigh is DV with a one-sided margin of 90 % for the scatter of the
// measurements: exp(1.2816 s).
func (g Geometry) DVHigh(flowM3s float64) float64 { return g.DV(flowM3s) * g.margin() }

const z90 = 1.2816

func (g Geometry) margin() float64 { return math.Exp(z90 * g.Width.S) }

// LimitFlow is the flow at which DV reaches a value, m3/s: (a D)^(1/(1-b)).
func (g Geometry) LimitFlow(dvM2s float64) float64 {
	return math.Pow(g.Width.Coef*dvM2s, 1/(1-g.Width.Exp))
}

// LimitFlowHigh is the flow at which DVHigh reaches a value: the one to act on.
func (g Geometry) LimitFlowHigh(dvM2s float64) float64 { return g.LimitFlow(dvM2s / g.margin()) }

// at is what the section does at a flow.
func (g Geometry) at(q float64) Hydraulics {
	return Hydraulics{DVM2s: g.DV(q), DVHighM2s: g.DVHigh(q), DepthM: g.Depth.At(q), VelocityMS: g.Velocity.At(q)}
}

// flowAt is the flow at which a fitted value is reached; infinite where it never is.
func (p Power) flowAt(y float64) float64 {
	if p.Coef <= 0 || p.Exp <= 0 {
		return math.Inf(1)
	}
	return math.Pow(y/p.Coef, 1/p.Exp)
}

// limits are the flows from which the levels begin, by every rule that has a line
// of its own at this gauge; nil without measurements.
func (in Input) limits() *Limits {
	g := in.Geometry
	if g == nil {
		return nil
	}
	l := Limits{
		CareM3s: g.LimitFlowHigh(CareDV), BetterNotM3s: min(g.LimitFlowHigh(BetterNotDV), g.MaxFlow), Rough: g.Scaled,
		KeepOutM3s: min(g.LimitFlowHigh(KeepOutDV), g.LimitFlow(GaugersLimit), g.Depth.flowAt(maxDepthM), g.Velocity.flowAt(maxVelocityMS)),
	}
	_, flood := in.Flood.FlowCategory(0)
	l.KeepOutM3s = min(l.KeepOutM3s, flood)
	if in.CeilingM3s > 0 {
		l.BetterNotM3s = min(l.BetterNotM3s, in.CeilingM3s)
	}
	l.BetterNotM3s = min(l.BetterNotM3s, l.KeepOutM3s)
	l.CareM3s = min(l.CareM3s, l.BetterNotM3s)
	return &l
}

func (g Geometry) basis() string {
	span := ""
	if !g.From.IsZero() {
		if span = fmt.Sprintf(", %d", g.From.Year()); g.To.Year() != g.From.Year() {
			span += fmt.Sprintf("-%d", g.To.Year())
		}
	}
	if g.Scaled {
		return fmt.Sprintf("rough: scaled from %d measurements, the least favourable%s", g.N, span)
	}
	return fmt.Sprintf("estimated from %d measurements%s", g.N, span)
}

// Within are the flows for which an estimate may be printed: half the lowest to
// 1.2 times the highest that was measured, or a third to three times those of
// measurements that were carried. Outside it only bounds the level. Our own default.
func (g Geometry) Within() (low, high float64) {
	if g.Scaled {
		return g.MinFlow / 3, 3 * g.MaxFlow
	}
	return 0.5 * g.MinFlow, 1.2 * g.MaxFlow
}

// Ceiling is the highest flow at which the gauger stood in the river, with
// the count behind it. ok is false with fewer than five such visits or none
// above them: then the absence of wading means nothing.
func Ceiling(all []Measurement) (flowM3s float64, visits int, ok bool) {
	top := 0.0
	for _, m := range all {
		if m.FlowM3s > 0 {
			top = max(top, m.FlowM3s)
			if m.Wading {
				visits++
				flowM3s = max(flowM3s, m.FlowM3s)
			}
		}
	}
	return flowM3s, visits, visits >= 5 && top > flowM3s
}

// StageFit ties depth times velocity to the gauge height, for gauges that report
// height only: ln(flow/width) on height by least squares.
type StageFit struct {
	A, B, S    float64
	N          int
	MinM, MaxM float64
}

// FitStage fits it; it wants ten usable rows with a height.
func FitStage(all []Measurement) (StageFit, error) {
	var h, y []float64
	f := StageFit{MinM: math.Inf(1), MaxM: math.Inf(-1)}
	for _, m := range all {
		if m.Usable() && !math.IsNaN(m.StageM) && m.StageM != 0 {
			h, y = append(h, m.StageM), append(y, math.Log(m.FlowM3s/m.WidthM))
			f.MinM, f.MaxM = min(f.MinM, m.StageM), max(f.MaxM, m.StageM)
		}
	}
	if len(h) < minFit || f.MaxM <= f.MinM {
		return StageFit{}, fmt.Errorf("%w: %d with a gauge height, wanted %d at several heights", ErrTooFew, len(h), minFit)
	}
	f.A, f.B = stat.LinearRegression(h, y, nil, false)
	ss := 0.0
	for i := range h {
		e := y[i] - f.A - f.B*h[i]
		ss += e * e
	}
	f.N, f.S = len(h), math.Sqrt(ss/float64(len(h)-2))
	return f, nil
}

// DVHigh is depth times velocity at a height with the margin of 90 %.
func (f StageFit) DVHigh(stageM float64) float64 { return math.Exp(f.A + f.B*stageM + z90*f.S) }
