package watertemp

// Prior is a reach without a thermometer: the parameters of the middle of many
// rivers, or of a donor (a fitted river near by), with the error that such
// models are measured to have. It takes its place, the waves of air and flow,
// from the first history it is given.
func Prior(donor *Model) Model {
	m := Model{Params: Params(pooled.mean), Grade: "prior, no thermometer here", Regime: "not known: no thermometer here"}
	m.Error = Error{SD: priorSD, Variance: year{1}, Slow: 0.8, SlowKeeps: 0.985, Fast: 0.7}
	if donor != nil {
		m.Params, m.Error.SD = donor.Params, donorSD
		m.Grade = "lent by a river near by"
		m.Diel = donor.Diel
		m.Diel.SD *= 1.5
	}
	return m
}

// Root mean square errors of models not fitted at the gauge, °C.
const priorSD, donorSD = 2.3, 2.0
