package watertemp

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Error is what the model leaves: a slow and a fast first order autoregressive
// part, side by side, whose size goes with the season. The slow part is the
// model being wrong for weeks; a single part would forget that too soon.
type Error struct {
	SD        float64 // standard deviation outside the fitted years, °C
	Variance  year    // of the season, as a share of SD squared
	Slow      float64 // the slow part's share of the variance
	Fast      float64 // correlation of the fast part from day to day
	SlowKeeps float64 // the slow part's
}

// Chosen on the residuals of fitted gauges in calibration years left out of the
// fit: their correlation is 0.75 at 1 day, 0.32 at 7, 0.22 at 14, 0.12 at 30
// and 0.05 at 60.
const (
	slowShare, slowDays = 0.33, 32.0
	// A residual outside the fitted years is larger than one inside them, by
	// this much for very many years, and more for few.
	inflateAlways, inflateFew = 1.08, 0.5
	leastVariance             = 0.25
	// And by how much more, in variance, for less than a year: chosen on the fitted years
	// of the gauges, of which only so many days were shown to the fit.
	shortGrows, shortPower = 1.4, 0.6
)

func errorOf(day0 int, residual []float64, years float64) Error {
	var ss, cross, pairs, n float64
	before := math.NaN()
	for _, e := range residual {
		if !math.IsNaN(e) {
			ss += e * e
			n++
			if !math.IsNaN(before) {
				cross += e * before
				pairs++
			}
		}
		before = e
	}
	e := Error{SD: 1, Variance: year{1}, Slow: slowShare, SlowKeeps: math.Exp(-1 / slowDays), Fast: 0.6}
	if n < 60 || pairs < 30 {
		return e
	}
	inside := ss / n
	// In the fitted years the slow part has been fitted away: what correlation
	// is left from day to day is the fast part's.
	e.Fast = min(max(cross/pairs/inside, 0.1), 0.95)
	e.SD = math.Sqrt(max(inside, 0.01) * (inflateAlways + inflateFew/max(years, 1)))
	if years < 1 {
		// What a part of a year cannot tell stays wrong for months, as in a prior.
		e.SD *= math.Sqrt(1 + shortGrows*math.Pow(1/years-1, shortPower))
		e.Slow += (1 - years) * (priorSlow - slowShare)
		e.SlowKeeps += (1 - years) * (priorKeeps - e.SlowKeeps)
	}
	// The season's share, pulled towards 1.
	x, y := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	for i, r := range residual {
		if math.IsNaN(r) {
			continue
		}
		s, c := wave(day0 + i)
		f := [3]float64{1, c, s}
		for a := range 3 {
			for b := a; b < 3; b++ {
				x.SetSym(a, b, x.At(a, b)+f[a]*f[b])
			}
			y.SetVec(a, y.AtVec(a)+f[a]*(min(r*r/inside, 9)-1))
		}
	}
	for a := range 3 {
		x.SetSym(a, a, x.At(a, a)+120)
	}
	var ch mat.Cholesky
	var b mat.VecDense
	if ch.Factorize(x) && ch.SolveVecTo(&b, y) == nil {
		e.Variance = year{1, b.AtVec(1), b.AtVec(2)}
	}
	return e
}

// sd of the error on a day, °C.
func (e Error) sd(cos, sin float64) float64 {
	return e.SD * math.Sqrt(max(leastVariance, e.Variance.at(cos, sin)))
}

// residualState is the state estimate of the two parts of the residual on a day:
// means, variances and covariance, in standard deviations of the model's error.
type residualState struct{ slow, fast, vSlow, vFast, cov float64 }

// stationary returns the stationary state, before any observation.
func (e Error) stationary() residualState { return residualState{vSlow: e.Slow, vFast: 1 - e.Slow} }

// next predicts the state one day on.
func (e Error) next(b residualState) residualState {
	a, c := e.SlowKeeps, e.Fast
	return residualState{
		slow: a * b.slow, fast: c * b.fast, cov: a * c * b.cov,
		vSlow: a*a*b.vSlow + (1-a*a)*e.Slow, vFast: c*c*b.vFast + (1-c*c)*(1-e.Slow),
	}
}

// sensor is the variance of a reading's own error, in shares of the model's.
const sensor = 0.02

// observe updates the state with an observed error, in standard deviations (Kalman 1960, J.
// Basic Eng. 82, 35-45).
func (b residualState) observe(z float64) residualState {
	v := b.vSlow + b.vFast + 2*b.cov + sensor
	gs, gf := (b.vSlow+b.cov)/v, (b.vFast+b.cov)/v
	d := z - b.slow - b.fast
	// A reading far from anything the error has done says more of the sensor.
	if lim := 4 * math.Sqrt(v); math.Abs(d) > lim {
		d = math.Copysign(lim, d)
	}
	return residualState{
		slow: b.slow + gs*d, fast: b.fast + gf*d,
		vSlow: b.vSlow - gs*(b.vSlow+b.cov), vFast: b.vFast - gf*(b.vFast+b.cov),
		cov: b.cov - gs*(b.vFast+b.cov),
	}
}

func (b residualState) total() (mean, variance float64) {
	return b.slow + b.fast, max(0, b.vSlow+b.vFast+2*b.cov)
}
