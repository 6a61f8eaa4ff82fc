package watertemp

import "math"

// Score is how far a series of °C lies from the readings.
type Score struct {
	Days int     `json:"days"`
	RMSE float64 `json:"rmse_c"`
	MAE  float64 `json:"mae_c"`
	NSE  float64 `json:"nse"`    // Nash-Sutcliffe efficiency: 1 - square error over the readings' variance
	Bias float64 `json:"bias_c"` // modelled less read
}

// scoreOf compares two columns where both are known.
func scoreOf(modelled, read []float64) Score {
	var s Score
	var sum, abs, square, mean, spread float64
	for i := range read {
		if e := modelled[i] - read[i]; !math.IsNaN(e) {
			s.Days++
			sum += e
			abs += math.Abs(e)
			square += e * e
			mean += read[i]
		}
	}
	if s.Days == 0 {
		return s
	}
	n := float64(s.Days)
	mean /= n
	for i := range read {
		if !math.IsNaN(modelled[i] - read[i]) {
			spread += (read[i] - mean) * (read[i] - mean)
		}
	}
	s.RMSE, s.MAE, s.Bias = math.Sqrt(square/n), abs/n, sum/n
	if spread > 0 {
		s.NSE = 1 - square/spread
	}
	return s
}

// Part is the scores of the model and of the three baselines over some days.
// The model runs free, driven by the air and flow of the day. Persistence is
// yesterday's reading and so knows more than the others.
type Part struct {
	Model       Score `json:"model"`
	Logistic    Score `json:"logistic"`
	Climatology Score `json:"climatology"`
	Persistence Score `json:"persistence_1_day"`
}

// Report is a fit with its scores inside and outside the fitted days.
type Report struct {
	Fit   Part `json:"fit"`
	Check Part `json:"check"`
	// Modelled is the whole record by the free-running model, °C.
	Modelled    []float64 `json:"-"`
	SD          []float64 `json:"-"` // of its error, °C
	Climatology []float64 `json:"-"` // mean of the date in the fitted years, °C
}

// Evaluate fits a record up to a day, not included, and scores the model and the
// baselines before it and from it on. Every constant comes from before.
func Evaluate(in Input, until int, o Options) (Model, Report, error) {
	m, err := Fit(in.Until(until), o)
	if err != nil {
		return Model{}, Report{}, err
	}
	return m, m.Report(in, until), nil
}

// Until is the part of a record before a day.
func (in Input) Until(day int) Input { return in.slice(0, in.cut(day)) }

// cut is the index of a day, within the record.
func (in Input) cut(day int) int { return min(max(day-in.Day0, 0), len(in.Air)) }

// Report scores a model and the baselines before a day and from it on. The
// baselines are fitted before it.
func (m *Model) Report(in Input, until int) Report {
	cut := in.cut(until)
	before := in.Until(until)
	at := m.localized(before)
	var r Report
	r.Modelled = at.Simulate(in.Day0, in.Air, in.Flow, firstKnown(before.Water))
	r.SD, r.Climatology = make([]float64, len(in.Air)), make([]float64, len(in.Air))
	h := harmonicsOf(in.Day0, len(in.Air))
	curve, normal := FitLogistic(before).At(in.Air), FitClimatology(before.Day0, before.Water)
	yesterday := make([]float64, len(in.Air))
	for i := range in.Air {
		r.SD[i] = at.Error.sd(h.cos[i], h.sin[i])
		r.Climatology[i] = normal.At(in.Day0 + i)
		yesterday[i] = math.NaN()
		if i > 0 {
			yesterday[i] = in.Water[i-1]
		}
	}
	part := func(a, b int) Part {
		w := in.Water[a:b]
		return Part{scoreOf(r.Modelled[a:b], w), scoreOf(curve[a:b], w), scoreOf(r.Climatology[a:b], w), scoreOf(yesterday[a:b], w)}
	}
	r.Fit, r.Check = part(0, cut), part(cut, len(in.Air))
	return r
}
