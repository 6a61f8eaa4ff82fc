package watertemp

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The residuals of budget and regression over the fitted years are kriged: a Gaussian
// process over the season, the flow and the warmth of the past weeks estimates the part
// that recurs (Rasmussen and Williams 2006, Gaussian Processes for Machine
// Learning, eq. 2.25; on residuals of a regression it is universal kriging, cited from
// memory). A dam's low releases in a warm July are such a thing, or melt water at high
// flow in May, which no straight line follows.
const (
	// How far apart days may be and still be correlated: of the circle of the
	// year, as a chord of radius 1 (40 days); of the logarithm of the flow; of the past
	// weeks' air, °C.
	krigSeason, krigFlow, krigAir = 0.7, 1.0, 4.0
	// krigSpread is the variance of the recurring part and krigNoise that of a day, in
	// shares of the budget's. These and the distances were chosen on the fitted years of
	// the gauges, each year left out in turn: see RESULTS.md. Halving or doubling any of
	// them does not matter much.
	krigSpread, krigNoise = 1.2, 16.0
	// knotDays are taken together at least, and in a long record as many as leave
	// mostKnots.
	knotDays, mostKnots = 7, 300
)

// The grid on which the answer is kept: each step is half of a distance above.
const (
	gridSeasons               = 18
	gridFlows, gridFlowLow    = 11, -2.5
	gridAirs, gridAirLow      = 17, -16.0
	gridFlowStep, gridAirStep = krigFlow / 2, krigAir / 2
	gridSeasonStep            = twoPi / gridSeasons
	gridFlowHigh, gridAirHigh = gridFlowLow + gridFlowStep*(gridFlows-1), gridAirLow + gridAirStep*(gridAirs-1)
)

// Kriged is what is added to the answer by season, flow and past weeks' air, °C: 13 kB,
// of which thousands may be kept.
type Kriged [gridSeasons][gridFlows][gridAirs]float32

// knot is the mean of a few days: where they lie, what is left there, °C, and how many
// they are.
type knot struct{ cos, sin, flow, air, left, days float64 }

// inGrid is a day's logarithm of the flow ratio and its past weeks' air, °C over its
// mean, held within the grid.
func inGrid(r *row) (flow, air float64) {
	return min(max(r.flow, gridFlowLow), gridFlowHigh), min(max(r.x[fSlow], gridAirLow), gridAirHigh)
}

// knots are what f.sim leaves of the days that count.
func (f *fitter) knots() (out []knot) {
	length := max(knotDays, (len(f.use)+mostKnots-1)/mostKnots)
	last := -1
	for k, i := range f.use {
		w := f.weight[k]
		if w == 0 {
			continue
		}
		if i/length != last {
			out, last = append(out, knot{}), i/length
		}
		n := &out[len(out)-1]
		r := &f.rows[i]
		flow, air := inGrid(r)
		n.cos, n.sin, n.flow, n.air = n.cos+w*r.x[fCos], n.sin+w*r.x[fSin], n.flow+w*flow, n.air+w*air
		n.left, n.days = n.left+w*(f.in.Water[i]-f.sim[i]), n.days+w
	}
	for k := range out {
		n := &out[k]
		n.cos, n.sin, n.flow, n.air, n.left = n.cos/n.days, n.sin/n.days, n.flow/n.days, n.air/n.days, n.left/n.days
	}
	return out
}

// kernel returns the correlation of the residuals at two nodes, 0 to 1.
func (k knot) kernel(b knot) float64 {
	season := (square(k.cos-b.cos) + square(k.sin-b.sin)) / (krigSeason * krigSeason)
	return math.Exp(-0.5 * (season + square(k.flow-b.flow)/(krigFlow*krigFlow) + square(k.air-b.air)/(krigAir*krigAir)))
}

// near is the same along one of their distances.
func near(d, length float64) float64 { return math.Exp(-0.5 * square(d/length)) }

// krige returns the recurring part of the residuals at some knots; nil if the
// covariance matrix is not positive definite.
func krige(at []knot) *Kriged {
	n := len(at)
	if n == 0 {
		return nil
	}
	cov, left := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i, a := range at {
		left.SetVec(i, a.left)
		for j, b := range at[:i] {
			cov.SetSym(i, j, krigSpread*a.kernel(b))
		}
		cov.SetSym(i, i, krigSpread+krigNoise/a.days)
	}
	var c mat.Cholesky
	var weights mat.VecDense
	if !c.Factorize(cov) || c.SolveVecTo(&weights, left) != nil {
		return nil
	}
	// The correlation of two nodes is the product of three factors, so that no point of the grid
	// takes an exponential of its own.
	var sum [gridSeasons][gridFlows][gridAirs]float64
	for i, a := range at {
		var flows [gridFlows]float64
		for q := range flows {
			flows[q] = near(gridFlowLow+gridFlowStep*float64(q)-a.flow, krigFlow)
		}
		var airs [gridAirs]float64
		for t := range airs {
			airs[t] = near(gridAirLow+gridAirStep*float64(t)-a.air, krigAir)
		}
		for s := range sum {
			sin, cos := math.Sincos(gridSeasonStep * float64(s))
			season := krigSpread * weights.AtVec(i) * near(math.Hypot(cos-a.cos, sin-a.sin), krigSeason)
			for q, v := range flows {
				to := &sum[s][q]
				for t, w := range airs {
					to[t] += season * v * w
				}
			}
		}
	}
	var k Kriged
	for s := range sum {
		for q := range sum[s] {
			for t, v := range sum[s][q] {
				k[s][q][t] = float32(v)
			}
		}
	}
	return &k
}

// add adds it to what was simulated, and gives its root mean square, °C.
func (f *fitter) add(k *Kriged) float64 {
	if k == nil {
		return 0
	}
	sum := 0.0
	for i := range f.rows {
		again := k.at(f.in.Day0+i, &f.rows[i])
		f.sim[i] = max(0, f.sim[i]+again)
		sum += again * again
	}
	return math.Sqrt(sum / float64(len(f.rows)))
}

// onGrid is where the days of four years lie among the seasons of the grid.
var onGrid = func() (s [fourYears]float64) {
	for day := range s {
		s[day] = angle(day) / gridSeasonStep
	}
	return s
}()

// at is what is to be added on a day, °C, on lines between the points of the grid.
func (k *Kriged) at(day int, r *row) float64 {
	flow, air := inGrid(r)
	s, q, t := onGrid[cycle(day)], (flow-gridFlowLow)/gridFlowStep, (air-gridAirLow)/gridAirStep
	s0, q0, t0 := int(s), min(int(q), gridFlows-2), min(int(t), gridAirs-2)
	s1 := s0 + 1
	if s1 == gridSeasons {
		s1 = 0
	}
	s, q, t = s-float64(s0), q-float64(q0), t-float64(t0)
	a, b := &k[s0], &k[s1]
	edge := func(q, t int) float64 {
		from, to := float64(a[q][t]), float64(b[q][t])
		return from + s*(to-from)
	}
	low, high := edge(q0, t0), edge(q0+1, t0)
	low += t * (edge(q0, t0+1) - low)
	high += t * (edge(q0+1, t0+1) - high)
	return low + q*(high-low)
}
