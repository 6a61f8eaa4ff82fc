package watertemp

import (
	"math"
	"math/rand/v2"
)

// spinup is how many days of drivers are run before the issue, so that the
// start does not matter.
const spinup = 120

// analysis runs the model over the end of a history and returns its state the
// day before the issue and the last residual seen, weakened by the days since.
func (m *Model) analysis(in Input) (state, residual float64) {
	n := len(in.Air)
	from := max(0, n-spinup)
	if n == 0 {
		return 8, 0
	}
	h := harmonicsOf(in.Day0+from, n-from)
	raw := make([]float64, n-from)
	var flow []float64
	if in.Flow != nil {
		flow = in.Flow[from:]
	}
	start := firstKnown(in.Water[from:])
	m.Params.simulate(raw, bridged(in.Air[from:]), m.logTheta(in.Day0+from, flow, n-from), h, start)
	for i := len(raw) - 1; i >= 0; i-- {
		if w := in.Water[from+i]; !math.IsNaN(w) {
			residual = (w - raw[i] - m.season(h, i)) * math.Pow(m.Phi, float64(len(raw)-1-i))
			break
		}
	}
	return raw[len(raw)-1], residual
}

// Forecast continues a history with possible futures of air and flow, one row
// each, all of one length, from the day after the history on. Each comes back
// as a row of water temperature, °C: the model, plus the last residual as it
// dies away, plus new error drawn for the row. flow may be nil. The same seed
// gives the same rows.
func (m *Model) Forecast(history Input, air, flow [][]float64, seed uint64) [][]float64 {
	out := make([][]float64, len(air))
	state, residual := m.analysis(history)
	day := history.Day0 + len(history.Air)
	innovation := m.Sigma * math.Sqrt(1-m.Phi*m.Phi)
	var h harmonics
	for k := range air {
		n := len(air[k])
		if len(h.cos) != n {
			h = harmonicsOf(day, n)
		}
		row := make([]float64, n)
		if n == 0 {
			continue
		}
		var q []float64
		if flow != nil {
			q = flow[k]
		}
		m.Params.simulate(row, bridged(air[k]), m.logTheta(day, q, n), h, state)
		rng := rand.New(rand.NewPCG(seed, uint64(k)+1))
		e := residual
		for d := range row {
			e = m.Phi*e + innovation*rng.NormFloat64()
			row[d] = math.Max(0, row[d]+m.season(h, d)+e)
		}
		out[k] = row
	}
	return out
}

// FillGaps gives every day of a history a mean and a standard deviation, °C:
// the reading and 0 where there is one, elsewhere the model with the residuals
// at both edges of the gap, whose error is that of a first order
// autoregressive process tied at the edges.
func (m *Model) FillGaps(in Input) (mean, sd []float64) {
	n := len(in.Air)
	mean, sd = make([]float64, n), make([]float64, n)
	if n == 0 {
		return mean, sd
	}
	sim := m.Simulate(in.Day0, in.Air, in.Flow, firstKnown(in.Water))
	last := -1
	bridge := func(a, b int) { // a: last known before or -1; b: first known after or n
		for j := a + 1; j < b; j++ {
			var before, after, wb, wa float64
			if a >= 0 {
				wb, before = math.Pow(m.Phi, float64(j-a)), in.Water[a]-sim[a]
			}
			if b < n {
				wa, after = math.Pow(m.Phi, float64(b-j)), in.Water[b]-sim[b]
			}
			// Best linear estimate between two ends of an AR(1) process.
			across := 0.0
			if a >= 0 && b < n {
				across = math.Pow(m.Phi, float64(b-a))
			}
			den := 1 - across*across
			cb, ca := (wb-wa*across)/den, (wa-wb*across)/den
			mean[j] = math.Max(0, sim[j]+cb*before+ca*after)
			sd[j] = m.Sigma * math.Sqrt(math.Max(0, 1-cb*wb-ca*wa))
		}
	}
	for i := range in.Water {
		if math.IsNaN(in.Water[i]) {
			continue
		}
		bridge(last, i)
		mean[i] = in.Water[i]
		last = i
	}
	bridge(last, n)
	return mean, sd
}
