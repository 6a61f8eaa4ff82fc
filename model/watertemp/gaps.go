package watertemp

import "math"

// FillGaps gives every day of a history a mean and a standard deviation, °C:
// the reading and 0 where there is one, elsewhere the model with what the
// readings on both sides of the gap say of its error. The deviation grows into
// the gap. The two directions are put together as independent evidence on a
// prior held in common.
func (m *Model) FillGaps(in Input) (mean, sd []float64) {
	n := len(in.Air)
	mean, sd = make([]float64, n), make([]float64, n)
	if n == 0 {
		return mean, sd
	}
	m = m.localized(in)
	sim := m.Simulate(in.Day0, in.Air, in.Flow, firstKnown(in.Water))
	h := harmonicsOf(in.Day0, n)
	e := m.Error
	type parts struct{ mean, variance float64 }
	forward := make([]parts, n)
	pass := func(i int, b residualState) residualState {
		if w := in.Water[i]; !unknown(w) {
			return b.observe((w - sim[i]) / e.sd(h.cos[i], h.sin[i]))
		}
		return b
	}
	b := e.stationary()
	for i := range n {
		b = pass(i, e.next(b))
		forward[i].mean, forward[i].variance = b.total()
	}
	b = e.stationary()
	for i := n - 1; i >= 0; i-- {
		b = e.next(b) // the error looks the same backwards in time
		backMean, backVar := b.total()
		b = pass(i, b)
		if w := in.Water[i]; !unknown(w) {
			mean[i] = w
			continue
		}
		f := forward[i]
		// 1/v = 1/vf + 1/vb - 1: the prior's variance is 1 and counted twice.
		vf, vb := min(max(f.variance, 1e-6), 1), min(max(backVar, 1e-6), 1)
		v := 1 / (1/vf + 1/vb - 1)
		z := v * (f.mean/vf + backMean/vb)
		s := e.sd(h.cos[i], h.sin[i])
		mean[i] = max(0, sim[i]+z*s)
		sd[i] = s * math.Sqrt(v)
	}
	return mean, sd
}
