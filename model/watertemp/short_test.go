package watertemp

import (
	"math"
	"slices"
	"testing"
)

// A thermometer that has been there for part of a year: the model sees so many days of
// it, with all of the air and flow, and is judged on the days that follow. It beats the
// prior, which rivers alike foretell of which none within 25 km is left, in the middle and
// at the 90 % point, and its band is honest.
func TestAFewMonthsOfReadingsAreWorthAFit(t *testing.T) {
	if testing.Short() {
		t.Skip("fits hundreds of records: not in a short run")
	}
	all := readGauges(t)
	var gs []gauge
	for i, g := range all {
		if i%unseenEvery == 0 && (long() || i%(3*unseenEvery) == 0) {
			gs = append(gs, g)
		}
	}
	learnWithout(t, all, gs)
	starts := []int{dayOf(2017, 4, 15), dayOf(2017, 8, 1), dayOf(2017, 11, 15)}
	for _, n := range []int{20, 40, MinDays, 75, 90, 120, 180, 270, 364} {
		fit, prior := make([]float64, len(gs)*len(starts)), make([]float64, len(gs)*len(starts))
		inside := make([]mean, len(fit))
		each(len(fit), func(k int) {
			g, from := gs[k/len(starts)], starts[k%len(starts)]
			in := until(g.in, waterYears[3]-g.in.Day0)
			part := in
			part.Water = slices.Clone(in.Water)
			rest := slices.Clone(in.Water)
			for i := range part.Water {
				if day := in.Day0 + i; day < from || day >= from+n {
					part.Water[i] = math.NaN()
				}
				if in.Day0+i < from+n {
					rest[i] = math.NaN()
				}
			}
			fit[k], prior[k] = math.NaN(), math.NaN()
			m, err := Fit(part, Options{Seed: 1})
			switch {
			case n < MinDays:
				m = Prior(nil).At(part)
			case err != nil:
				return // readings are missing among those days
			case m.Grade != FittedShort:
				t.Errorf("%d days: grade %q", m.Days, m.Grade)
			}
			fit[k] = scoreOf(m.Simulate(in.Day0, in.Air, in.Flow, math.NaN()), rest).RMSE
			p := Prior(nil).At(dry(in))
			prior[k] = scoreOf(p.Simulate(in.Day0, in.Air, in.Flow, math.NaN()), rest).RMSE
			filled, sd := m.FillGaps(part)
			for i, w := range rest {
				if !math.IsNaN(w) {
					hit := 0.0
					if math.Abs(w-filled[i]) <= 1.2816*sd[i] {
						hit = 1
					}
					inside[k].add(hit)
				}
			}
		})
		var held mean
		for _, m := range inside {
			held.add(m.of())
		}
		t.Logf("%3d days: RMSE %.2f (90 %% %.2f) °C, prior %.2f (%.2f); 80 %% band holds %.1f %%", n, quantile(fit, 0.5), quantile(fit, 0.9), quantile(prior, 0.5), quantile(prior, 0.9), 100*held.of())
		most := 0.97
		if n >= MinDays {
			most = 0.92
		}
		if !(quantile(fit, 0.5) < most*quantile(prior, 0.5)) || !(quantile(fit, 0.9) < quantile(prior, 0.9)) {
			t.Errorf("%d days are not worth a fit", n)
		}
		if c := held.of(); !(c > 0.75 && c < 0.88) {
			t.Errorf("%d days: the 80 %% band holds %.3f", n, c)
		}
	}
}
