package watertemp

import (
	"math"
	"slices"
	"testing"
)

// On the fitted years alone, each left out in turn: with the regression beside it
// the heat budget misses less, by the day and over a spring, in the middle gauge and
// at the 90 % point, and with what both leave kriged less still. The share of the
// regression and the distances of the kriging were chosen here.
func TestEveryPartHelpsInYearsLeftOut(t *testing.T) {
	if !long() {
		t.Skip("fits 371 gauges three times: ECLOSE_LONG=1")
	}
	gs := readGauges(t)
	const budget, both, whole = 0, 1, 2
	var rmse, days [3][]float64
	for who := range rmse {
		rmse[who], days[who] = make([]float64, 3*len(gs)), make([]float64, 3*len(gs))
	}
	each(3*len(gs), func(k int) {
		g, y := gs[k/3], k%3
		in := until(g.in, waterYears[3]-g.in.Day0)
		from, to := waterYears[y]-in.Day0, waterYears[y+1]-in.Day0
		fit := in
		fit.Water = slices.Clone(in.Water)
		for d := from; d < to; d++ {
			fit.Water[d] = math.NaN()
		}
		m, err := Fit(fit, Options{Seed: 1})
		for who := range rmse {
			rmse[who][k], days[who][k] = math.NaN(), math.NaN()
			if err != nil {
				continue // too little is left without the year
			}
			one := m
			if who < whole {
				one.Kriged = nil
			}
			if who < both {
				one.Lags = nil
			}
			sim := one.Simulate(in.Day0, in.Air, in.Flow, math.NaN())
			rmse[who][k] = scoreOf(sim[from:to], in.Water[from:to]).RMSE
			days[who][k] = math.Abs(degreeDayError(in, sim, 2017+y))
		}
	})
	for _, x := range []struct {
		name string
		of   [3][]float64
		p    float64
	}{{"RMSE, median, °C", rmse, 0.5}, {"RMSE, 90 % point, °C", rmse, 0.9}, {"total off, median, days", days, 0.5}, {"total off, 90 % point, days", days, 0.9}} {
		alone, two, all := quantile(x.of[budget], x.p), quantile(x.of[both], x.p), quantile(x.of[whole], x.p)
		t.Logf("%s: %.3f by the heat budget, %.3f with the regression, %.3f with kriging", x.name, alone, two, all)
		if !(two < alone) || !(all < 1.01*two) {
			t.Errorf("%s: %.3f by the heat budget, %.3f with the regression, %.3f with kriging", x.name, alone, two, all)
		}
	}
	if last := quantile(rmse[whole], 0.5); !(last < quantile(rmse[both], 0.5)) {
		t.Errorf("RMSE %.3f °C is not less with kriging", last)
	}
}
