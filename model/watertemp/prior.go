package watertemp

// Prior is a reach without a thermometer, or with too short a record: what
// rivers in such a climate have, and some of how a donor (a fitted river near
// by) departs from what rivers in its own climate have. Climate is read off the
// first history that the model is given, and with it the parameters. The error
// is that which such models are measured to have.
func Prior(donor *Model) Model { return priorWith(donor, donorShare) }

func priorWith(donor *Model, share float64) Model {
	m := Model{unfitted: true, Grade: PriorAlone, Regime: "unknown: no thermometer here"}
	m.Error = Error{SD: priorSD, Variance: year{1}, Slow: priorSlow, SlowKeeps: priorKeeps, Fast: 0.7}
	if donor == nil {
		return m
	}
	m.donor = donor.asDonor
	usual := donor.regional()
	for i, v := range donor.Params {
		m.donorAdjustment[i] = share * (v - usual[i])
	}
	m.Error.SD = donorSD
	m.Grade, m.FromDonor = PriorNearby, true
	m.Diel = donor.Diel
	m.Diel.SD *= 1.5
	return m
}

// A prior stays wrong: most of its error is slow. Our own defaults.
const priorSlow, priorKeeps = 0.8, 0.985

// Root mean square errors, °C, of models not fitted at the gauge and without its flow, so
// that no rivers alike are known (see young.go for where they are), over the fitted years
// of the gauges behind the pooled tables, each with its nearest neighbour as donor. The
// share was chosen with the flow known: the whole of a donor's departure is worse than none.
const priorSD, donorSD, donorShare = 2.43, 2.37, 0.2
