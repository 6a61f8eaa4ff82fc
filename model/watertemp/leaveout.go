package watertemp

import (
	"math"
	"slices"
)

const (
	// mostParts is how many parts a record is cut into at most, to be left out of
	// the fit in turn; each is about a year or more.
	mostParts = 5
	// partSteps is how many steps a fit without a part goes on from that with it.
	partSteps = 8
	// leastUsual is the share of the normal that counts: less is not told from
	// none. Chosen on the fitted years of the gauges, each year left out in turn.
	leastUsual = 0.2
)

// leaveOut fits without each year in turn and looks at that year: how large the
// error is outside the fitted years, and whether the normal of the season should
// have a say. Below a dam that is run by hand it should; nearly everywhere else
// air and flow know more. NaN where the record is too short to tell.
func (f *fitter) leaveOut(p Params, lags *lagFit) (sd float64) {
	parts := min(mostParts, int(f.m.Years+0.2))
	if parts < 2 {
		return math.NaN()
	}
	whole := slices.Clone(f.weight)
	defer func() { f.weight = whole }()
	model, normal := make([]float64, len(f.use)), make([]float64, len(f.use))
	water := make([]float64, len(f.in.Water))
	cut := make([]int, parts+1)
	for part := range cut {
		cut[part] = part * len(f.use) / parts
	}
	regressions := lags.withoutEach(f, f.m.Lags, cut)
	var cross, square float64
	for part, l := range regressions {
		from, to := cut[part], cut[part+1]
		f.weight = slices.Clone(whole)
		copy(water, f.in.Water)
		for k := from; k < to; k++ {
			f.weight[k] = 0
			water[f.use[k]] = math.NaN()
		}
		without, _ := f.descend(p, partSteps, roughly)
		f.simulate(&without)
		f.combineLags(&l)
		f.add(krige(f.knots()))
		c := FitClimatology(f.in.Day0, water)
		for k := from; k < to; k++ {
			i := f.use[k]
			model[k], normal[k] = f.sim[i], c.At(f.in.Day0+i)
			if d := normal[k] - model[k]; !math.IsNaN(d) {
				cross += whole[k] * d * (f.in.Water[i] - model[k])
				square += whole[k] * d * d
			}
		}
	}
	usual := 0.0
	if square > 0 {
		usual = min(max(cross/square, 0), 1)
	}
	if usual >= leastUsual {
		c := FitClimatology(f.in.Day0, f.in.Water)
		f.m.Climatology, f.m.ClimatologyWeight = &c, usual
	} else {
		usual = 0
	}
	sum := 0.0
	for k, i := range f.use {
		t := model[k]
		if usual > 0 && !math.IsNaN(normal[k]) {
			t += usual * (normal[k] - t)
		}
		sum += (f.in.Water[i] - t) * (f.in.Water[i] - t)
	}
	return math.Sqrt(sum / float64(len(f.use)))
}
