package watertemp

// Prior is a reach without a thermometer: what rivers do in the middle, with an
// honestly wide error. A donor (a fitted river near by) lends its parameters
// and keeps a wider error than its own.
func Prior(donor *Model) Model {
	if donor != nil {
		m := *donor
		m.Sigma = donor.Sigma + priorSigma/2
		m.Phi = 0.95 // a wrong parameter is wrong for long
		m.Grade = "lent by a river near by"
		m.Days, m.Years = 0, 0
		m.Season = [5]float64{}
		return m
	}
	var p Params
	for k := range p {
		p[k] = prior[k][0]
	}
	return Model{Params: p, Phi: 0.95, Sigma: priorSigma, Grade: "prior, no thermometer here"}
}

// priorSigma is the error of an unfitted river, °C. Our own default: between
// the spread of rivers around a common curve and that of a fitted one.
const priorSigma = 2.0
