package flow

// Prior is what many gauges say of a river before its own record speaks: mean and
// standard deviation over gauges of each factor, and the corrections by lead.
type Prior struct {
	Factors, FactorsSD [numFeatures]float64
	Sizes, SizesSD     [numSizes]float64
	Corrections        [numKnots]Correction
}

func (p *Prior) precision() []float64 {
	out := make([]float64, numFeatures)
	for k, sd := range p.FactorsSD {
		out[k] = weightUnit * weightUnit / (sd * sd) * priorWeight
	}
	return out
}

// priorWeight is how many days of a record count as one independent piece of evidence of
// the factors, since storms and wet months last; sizeWeight is the same of the sizes of
// errors. Chosen on the gauges of the pool (RESULTS.md).
const priorWeight, sizeWeight = 50.0, 30.0

func (p *Prior) sizePrecision() []float64 {
	out := make([]float64, numSizes)
	for k, sd := range p.SizesSD {
		out[k] = sizeWeight / (sd * sd)
	}
	return out
}
