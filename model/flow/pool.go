package flow

import "math"

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

// priorWeight: daily errors are no independent evidence, since storms last for days
// and their sizes are unequal; our own default.
var priorWeight = 3.0

func (p *Prior) sizePrecision() []float64 {
	out := make([]float64, numSizes)
	for k, sd := range p.SizesSD {
		out[k] = sizeWeight / (sd * sd)
	}
	return out
}

// vague is the prior of the first round of pooling: a river that moves by recession
// alone.
func vague() Prior {
	var p Prior
	for k := range p.FactorsSD {
		p.FactorsSD[k] = 0.3
	}
	for k := range p.SizesSD {
		p.SizesSD[k] = 1
	}
	p.Factors[fastAbove] = -0.1
	p.Sizes[sizeMean] = math.Log(0.05)
	for k := range p.Corrections {
		p.Corrections[k] = noCorrection
	}
	return p
}

// poolRounds is how often the prior is drawn from fits made under the one before.
const poolRounds = 3

// poolFactors learns a prior without corrections from histories by expectation and maximization: fits under the
// prior, then mean and spread of the fits and of their uncertainty.
func poolFactors(ins []Input) (Prior, error) {
	p := vague()
	for range poolRounds {
		next := vague()
		var sum, square [numFeatures]float64
		var sizeSum, sizeSquare [numSizes]float64
		n := 0.0
		for _, in := range ins {
			b, bv, c, cv, err := fitFor(in, &p)
			if err != nil {
				return p, err
			}
			n++
			for k := range b {
				sum[k] += b[k]
				square[k] += b[k]*b[k] + bv[k]
			}
			for k := range c {
				sizeSum[k] += c[k]
				sizeSquare[k] += c[k]*c[k] + cv[k]
			}
		}
		for k := range sum {
			mu := sum[k] / n
			next.Factors[k], next.FactorsSD[k] = mu, math.Sqrt(max(square[k]/n-mu*mu, 1e-6))
		}
		for k := range sizeSum {
			mu := sizeSum[k] / n
			next.Sizes[k], next.SizesSD[k] = mu, math.Sqrt(max(sizeSquare[k]/n-mu*mu, 1e-6))
		}
		p = next
	}
	return p, nil
}

// fitFor returns the factors and sizes of a fit with their variances.
func fitFor(in Input, p *Prior) (b, bv, c, cv []float64, err error) {
	m := &Model{}
	if m, err = fitPlain(in, p, lapses); err != nil {
		return
	}
	f := fitting{m: m, in: in, prior: p, logs: make([]float64, len(in.Flow))}
	for i, q := range in.Flow {
		f.logs[i] = m.log(q)
	}
	f.tryLapse(m.lapse)
	b, bv = f.equations.solve(p.Factors[:], p.precision())
	for k := range bv {
		bv[k] *= weightUnit * weightUnit * priorWeight
	}
	c, cv = f.sizeEquations.solve(p.Sizes[:], p.sizePrecision())
	for k := range cv {
		cv[k] *= sizeWeight
	}
	return b, bv, c, cv, nil
}

var sizeWeight = 3.0
