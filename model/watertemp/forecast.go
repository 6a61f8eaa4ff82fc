package watertemp

import (
	"math"
	"math/rand/v2"
)

// spinup is how many days of drivers are run before the issue, so that the
// start does not matter: the longest average of the air has forgotten it.
const spinup = 500

// assimilated is a reach at the end of a history.
type assimilated struct {
	water float64 // of the model, °C
	state state
	error residualState
}

// assimilate runs the model over the end of a history and learns from every
// reading how wrong it is.
func (m *Model) assimilate(in Input) assimilated {
	n := len(in.Air)
	from := max(0, n-spinup)
	tail := in.slice(from, n)
	air, flow := m.forcing(tail.Day0, tail.Air, tail.Flow)
	h := harmonicsOf(tail.Day0, len(air))
	sim := make([]float64, len(air))
	t := firstKnown(tail.Water)
	if math.IsNaN(t) {
		t = m.Air.filtered(tail.Day0-1, tauFast)
	}
	a := assimilated{water: max(0, t), error: m.Error.stationary()}
	a.state, a.water = m.run(sim, tail.Day0, air, flow, h, m.begin(tail.Day0), a.water)
	for i := range sim {
		a.error = m.Error.next(a.error)
		if w := tail.Water[i]; !unknown(w) {
			a.error = a.error.observe((w - sim[i]) / m.Error.sd(h.cos[i], h.sin[i]))
		}
	}
	return a
}

// Forecast continues a history with n possible futures of some days, from the
// day after it on: one member of a weather ensemble, °C, as far as that reaches
// (it may be empty), and then the weather of a past season. Each future is a row
// of water temperature, °C: the model, plus the error known today as it dies away,
// plus new error drawn for the row. The same seed gives the same rows. It is nil
// if there is no past season to draw from.
func (m *Model) Forecast(history Input, ensemble [][]float64, days, n int, seed uint64) [][]float64 {
	return m.ForecastWithFlow(history, Futures(history, ensemble, days, n, seed), nil, days, seed)
}

// ForecastWithFlow is Forecast under weather that Futures drew for the same history, days
// and seed, with the flow of each member given, m3/s by member and day. A nil flow, and
// one beyond the end of its row, is that of the member's past season.
func (m *Model) ForecastWithFlow(history Input, weather []Future, flowAhead [][]float64, days int, seed uint64) [][]float64 {
	if weather == nil {
		return nil
	}
	n := len(weather)
	m = m.localized(history)
	now := m.assimilate(history)
	day := history.Day0 + len(history.Air)
	h := harmonicsOf(day, days)
	h.lags = m.Lags.days(h)
	e := m.Error
	sd := make([]float64, days)
	for d := range sd {
		sd[d] = e.sd(h.cos[d], h.sin[d])
	}
	// Roots of the covariance of today's two parts, and of a day's new error.
	l11 := math.Sqrt(max(0, now.error.vSlow))
	l21 := 0.0
	if l11 > 0 {
		l21 = now.error.cov / l11
	}
	l22 := math.Sqrt(max(0, now.error.vFast-l21*l21))
	newSlow := math.Sqrt((1 - e.SlowKeeps*e.SlowKeeps) * e.Slow)
	newFast := math.Sqrt((1 - e.Fast*e.Fast) * (1 - e.Slow))
	flow := m.flowAhead(day, days)
	out, room := make([][]float64, n), make([]float64, n*days)
	for k := range out {
		row := room[k*days : (k+1)*days : (k+1)*days]
		out[k] = row
		air := weather[k].Air
		if m.MeanFlow > 0 && weather[k].logFlow != nil {
			over := math.Log(weather[k].meanFlow / m.MeanFlow)
			for d, q := range weather[k].logFlow {
				flow[d] = min(max(q+over, logFlowLow), logFlowHigh)
			}
		}
		if m.MeanFlow > 0 && flowAhead != nil {
			for d, q := range flowAhead[k] {
				flow[d] = min(max(m.logRatio(q), logFlowLow), logFlowHigh)
			}
		}
		m.run(row, day, air, flow, h, now.state, now.water)
		rng := rand.New(rand.NewPCG(seed, uint64(k)+1))
		z1, z2 := rng.NormFloat64(), rng.NormFloat64()
		slow, fast := now.error.slow+l11*z1, now.error.fast+l21*z1+l22*z2
		for d := range row {
			slow = e.SlowKeeps*slow + newSlow*rng.NormFloat64()
			fast = e.Fast*fast + newFast*rng.NormFloat64()
			row[d] = max(0, row[d]+(slow+fast)*sd[d])
		}
	}
	return out
}

// flowAhead is the logarithm of a usual flow over the middle of days to come; nil
// where the model does without.
func (m *Model) flowAhead(day, days int) []float64 {
	if m.MeanFlow == 0 {
		return nil
	}
	out := make([]float64, days)
	for d := range out {
		sin, cos := wave(day + d)
		out[d] = m.Flow.at(cos, sin)
	}
	return out
}

// Expected is the single best continuation of a history under one future of
// air and flow, °C, with the standard deviation of its error.
func (m *Model) Expected(history Input, air, flow []float64) (mean, sd []float64) {
	m = m.localized(history)
	now := m.assimilate(history)
	day := history.Day0 + len(history.Air)
	a, q := m.forcing(day, air, flow)
	mean, sd = make([]float64, len(air)), make([]float64, len(air))
	h := harmonicsOf(day, len(air))
	m.run(mean, day, a, q, h, now.state, now.water)
	b := now.error
	for d := range mean {
		b = m.Error.next(b)
		z, v := b.total()
		s := m.Error.sd(h.cos[d], h.sin[d])
		mean[d] = max(0, mean[d]+z*s)
		sd[d] = s * math.Sqrt(v)
	}
	return mean, sd
}
