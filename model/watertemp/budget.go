package watertemp

import (
	"math"

	"example.org/eclose/model/elementary"
)

// The forcing is a sum of features of the day. Those of the surface come
// first, those of the inflow after them.
const (
	fOne  = iota
	fAir  // the day's air less its mean over the years, °C
	fPrev // the day's before
	fFast // its mean over the past days
	fSlow // over the past weeks
	fVerySlow
	fCos
	fSin
	fCos2
	fSin2
	fCold     // air below freezing, °C: ice and snow keep it from the water
	fHot      // air above 15 °C, °C: evaporation takes its share
	fFlow     // logarithm of the flow ratio
	fFlowCos  //
	fFlowSin  //
	fRise     // rise of that logarithm over its mean of the days before
	fRiseAir  // rain or melt brings its own temperature
	fAirCos   // the air's share changes with the sun
	fAirSin   //
	fColdSlow // weeks below freezing: snow lies
	nSurface
)

const _ = uint(-(nSurface % 4)) // forced takes four at a time
const (
	iOne = iota + nSurface
	iCos
	iSin
	iSlow
	nFeature
)

// Params of the heat budget: the logarithms of the two rates, 1/d, the exponent
// of the flow ratio, and a factor for each feature.
const (
	pSurface = iota
	pInflow
	pDepth
	pFeature
	nParam = pFeature + nFeature
)

// Params are the fitted numbers of a reach, by the indices above.
type Params [nParam]float64

// Days over which the air is averaged, and over which a rise of the flow is
// told from its level. Insensitive: halving or doubling any of them moved the
// inner check by less than a hundredth of a degree.
const tauFast, tauSlow, tauVerySlow, tauRise, tauFlow = 5.0, 25.0, 120.0, 5.0, 40.0

// flowLow and flowHigh bound the flow ratio: a flood of hundreds of times the
// middle says nothing more to a lumped model.
const flowLow, flowHigh = 0.02, 50.0

var logFlowLow, logFlowHigh = math.Log(flowLow), math.Log(flowHigh)

// state is what the features need of the days before.
type state struct {
	prev, fast, slow, verySlow float64 // °C
	flow, flowSlow             float64
}

var (
	keepFast, keepSlow, keepVerySlow = math.Exp(-1 / tauFast), math.Exp(-1 / tauSlow), math.Exp(-1 / tauVerySlow)
	keepRise, keepFlow               = math.Exp(-1 / tauRise), math.Exp(-1 / tauFlow)
)

// row is a day of features.
type row struct {
	x     [nFeature]float64
	flow  float64 // logarithm of the flow ratio
	ratio float64
	// That logarithm's means over the past days and weeks.
	flowFast, flowSlow float64
}

// day fills a row from the day's air, °C, and logarithm of the flow ratio, and
// moves the memory on.
func (m *state) day(r *row, mean, air, flow, cos, sin float64) {
	m.fast = air + keepFast*(m.fast-air)
	m.slow = air + keepSlow*(m.slow-air)
	m.verySlow = air + keepVerySlow*(m.verySlow-air)
	rise, a, both := flow-m.flow, air-mean, 0.5*(air+m.prev)
	r.x = [nFeature]float64{
		fOne: 1, fAir: a, fPrev: m.prev - mean, fFast: m.fast - mean, fSlow: m.slow - mean, fVerySlow: m.verySlow - mean,
		fCos: cos, fSin: sin, fCos2: cos*cos - sin*sin, fSin2: 2 * cos * sin,
		fCold: min(both, 0), fHot: max(both-15, 0),
		fFlow: flow, fFlowCos: flow * cos, fFlowSin: flow * sin, fRise: rise, fRiseAir: rise * a / 10,
		fAirCos: a * cos / 10, fAirSin: a * sin / 10, fColdSlow: min(m.slow, 0),
		iOne: 1, iCos: cos, iSin: sin, iSlow: m.slow - mean,
	}
	r.flow, r.ratio = flow, 1
	if flow != 0 {
		r.ratio = elementary.Exp(flow)
	}
	m.prev = air
	m.flow = flow + keepRise*(m.flow-flow)
	m.flowSlow = flow + keepFlow*(m.flowSlow-flow)
	r.flowFast, r.flowSlow = m.flow, m.flowSlow
}

// rates are the parameters with their exponentials taken, once for many days.
type rates struct {
	p               *Params
	surface, inflow float64 // 1/d
	mean            float64 // of the air, °C
}

func (p *Params) rates(mean float64) rates {
	return rates{p, math.Exp(p[pSurface]), math.Exp(p[pInflow]), mean}
}

// forced is what surface and inflow draw the water towards on a day, °C over the mean of
// the air. Four sums run side by side: one alone would wait for each addition.
func (k *rates) forced(r *row) (surface, inflow float64) {
	f, x := (*[nFeature]float64)(k.p[pFeature:]), &r.x
	var a, b, c, d float64
	for i := 0; i < nSurface; i += 4 {
		a += f[i] * x[i]
		b += f[i+1] * x[i+1]
		c += f[i+2] * x[i+2]
		d += f[i+3] * x[i+3]
	}
	return (a + b) + (c + d), (f[iOne]*x[iOne] + f[iCos]*x[iCos]) + (f[iSin]*x[iSin] + f[iSlow]*x[iSlow])
}

// step moves the water by a day: the exact solution of a linear equation whose
// right side stands still for the day. It is monotone for any flow and cannot
// ring. Ice holds the water at 0 °C.
func (k *rates) step(t float64, r *row) float64 {
	surface, inflow := k.forced(r)
	a, b := k.surface, k.inflow*r.ratio
	rate := a + b
	eq := (a*surface+b*inflow)/rate + k.mean
	if r.flow != 0 {
		rate *= elementary.Exp(-k.p[pDepth] * r.flow)
	}
	next := eq + (t-eq)*elementary.Exp(-rate)
	if next < 0 {
		return 0
	}
	return next
}

// derivatives moves the water by a day like step, and the derivatives of its
// temperature by the parameters with it, by the chain rule through the exact
// step.
func (k *rates) derivatives(t float64, r *row, d *[nParam]float64) float64 {
	surface, inflow := k.forced(r)
	a, b := k.surface, k.inflow*r.ratio
	sum := a + b
	eq := (a*surface+b*inflow)/sum + k.mean
	depth := 1.0
	if r.flow != 0 {
		depth = elementary.Exp(-k.p[pDepth] * r.flow)
	}
	e := elementary.Exp(-sum * depth)
	next := eq + (t-eq)*e
	if next <= 0 {
		*d = [nParam]float64{}
		return 0
	}
	towards, gone := 1-e, (t-eq)*e*depth
	wa, wb := a/sum*towards, b/sum*towards
	d[pSurface] = d[pSurface]*e + wa*(surface+k.mean-eq) - gone*a
	d[pInflow] = d[pInflow]*e + wb*(inflow+k.mean-eq) - gone*b
	d[pDepth] = d[pDepth]*e + gone*sum*r.flow
	for i := range nSurface {
		d[pFeature+i] = d[pFeature+i]*e + wa*r.x[i]
	}
	for i := nSurface; i < nFeature; i++ {
		d[pFeature+i] = d[pFeature+i]*e + wb*r.x[i]
	}
	return next
}
