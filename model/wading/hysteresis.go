package wading

// Hysteresis turns a series into on and off without flutter: on after OnN values
// in a row at or above the limit, off after OffN in a row below OffFactor times
// the limit. The zero value of the state is off.
type Hysteresis struct {
	Limit     float64
	OnN       int
	OffFactor float64
	OffN      int

	on   bool
	runs int
}

// Step takes the next value and says whether the state is on and whether it has
// just changed.
func (h *Hysteresis) Step(v float64) (on, changed bool) {
	const tiny = 1e-12
	hit := v >= h.Limit-tiny
	need := h.OnN
	if h.on {
		hit = v < h.OffFactor*h.Limit-tiny
		need = h.OffN
	}
	if !hit {
		h.runs = 0
		return h.on, false
	}
	if h.runs++; h.runs < need {
		return h.on, false
	}
	h.on, h.runs = !h.on, 0
	return h.on, true
}
