package phenology

import "math"

// betweenRivers is the share of a prior's variance that is difference between
// rivers; the rest is ignorance of the group that all rivers share. Our own
// default.
const betweenRivers = 0.5

// Pooled is the prior for one more river when other rivers' parameters have been
// learnt from the same prior. Per figure, in the prior's standard deviations,
//
//	river ~ N(group, b),  group ~ N(0, 1-b),  b = betweenRivers
//
// and each river's posterior, with the prior divided out, is one uncertain look
// at it: precision 1/s² - 1, centre (m/s²)/(1/s² - 1). The rivers draw the
// group's mean after them, the more of them and the surer the further; what
// rivers differ by stays. Correlations between figures are left out.
func (p Params) Pooled(rivers []Params) Params {
	prior := p.coordinates()
	width := p.widths()
	var mean, sd [numParams]float64
	for k := range numParams {
		sd[k] = 1
		if width[k] == 0 {
			continue
		}
		prec, sum := 1/(1-betweenRivers), 0.0
		for _, r := range rivers {
			s := r.widths()[k] / width[k]
			look := 1/(s*s) - 1
			if s <= 0 || look <= 1e-3 {
				continue // nothing was learnt of this figure there
			}
			m := (r.coordinates()[k] - prior[k]) / width[k]
			at := m / (s * s) / look
			w := 1 / (betweenRivers + 1/look)
			prec += w
			sum += w * at
		}
		mean[k] = sum / prec
		sd[k] = math.Sqrt(betweenRivers + 1/prec)
	}
	q := p.at(mean)
	q.DD50CV, q.MedianSD, q.SpreadCV, q.PeakCV = p.DD50CV*sd[0], p.MedianSD*sd[1], p.SpreadCV*sd[3], p.PeakCV*sd[4]
	q.WeightSD = width[2] * sd[2] * q.Weight * (1 - q.Weight)
	return q
}

// coordinates are the uncertain figures on the scales on which they are normal.
func (p Params) coordinates() [numParams]float64 {
	c := [numParams]float64{1: p.MedianDOY, 3: math.Log(p.SpreadDays), 4: peakLog(p.PeakChance)}
	if p.DD50 > 0 {
		c[0] = math.Log(p.DD50)
	}
	if p.weightLogitSD() > 0 {
		c[2] = logit(p.Weight)
	}
	return c
}

// widths are their standard deviations.
func (p Params) widths() [numParams]float64 {
	w := [numParams]float64{p.DD50CV, p.MedianSD, p.weightLogitSD(), p.SpreadCV, p.PeakCV}
	if p.DD50 == 0 {
		w[0] = 0
	}
	return w
}
