package phenology

import (
	"math"
	"slices"
)

// StructureYears is the model before any record was looked at for it: a quarter
// of the departures common to neighbours in a season, the rest of the variance
// mostly its own. The slopes are the caller's, who knows what X are. Our own
// defaults.
func StructureYears(slopes []Slope) YearModel {
	return YearModel{
		Same: 0.25, SameDays: 40, Own: 0.15, OwnYears: 4, Shared: 0.10, SharedYrs: 4,
		MeanVar: 0.3, Slopes: slices.Clone(slopes),
	}
}

// sharePriorSD is how far the shares of variance may move from the structure's,
// as a standard deviation on the log scale; yearsPriorSD the same for times.
const (
	sharePriorSD = 0.7
	yearsPriorSD = 0.5
)

// Fit moves the shares and times of a structure to the most probable values
// given cases, one after another on a grid (type II maximum a posteriori).
func (m YearModel) Fit(cases []YearCase) (YearModel, error) {
	if len(cases) < 20 {
		return m, nil // too few to say anything about variances
	}
	start := m
	field := []func(*YearModel) *float64{
		func(m *YearModel) *float64 { return &m.Same },
		func(m *YearModel) *float64 { return &m.Own },
		func(m *YearModel) *float64 { return &m.Shared },
		func(m *YearModel) *float64 { return &m.SameDays },
		func(m *YearModel) *float64 { return &m.OwnYears },
		func(m *YearModel) *float64 { return &m.SharedYrs },
	}
	score := func(m YearModel) (float64, error) {
		if m.Same+m.Own+m.Shared > 0.9 {
			return math.Inf(-1), nil
		}
		y, err := m.Learn(cases)
		if err != nil {
			return 0, err
		}
		l := y.LogLikelihood()
		for i, f := range field {
			sd := sharePriorSD
			if i >= 3 {
				sd = yearsPriorSD
			}
			d := math.Log(*f(&m) / *f(&start)) / sd
			l -= d * d / 2
		}
		return l, nil
	}
	best, err := score(m)
	if err != nil {
		return m, err
	}
	for _, step := range []float64{2, 1.4} {
		for _, f := range field {
			for _, by := range []float64{step, 1 / step} {
				for {
					to := m
					*f(&to) *= by
					l, err := score(to)
					if err != nil {
						return m, err
					}
					if l <= best+1e-3 {
						break
					}
					best, m = l, to
				}
			}
		}
	}
	return m, nil
}
