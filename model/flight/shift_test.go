package flight

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A season that is early in all insects is found from what was recorded of some
// of them before it is over, though most records lie on weekends and in summer.
func TestAnEarlySeasonIsFoundBeforeItIsOver(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	within, square := 0, 0.0
	const seasons = 60
	for range seasons {
		shift := math.Round(shiftSD * rng.NormFloat64())
		const today = 200
		var groups []Season
		var effort Effort
		for range 6 {
			r := invent(rng)
			now := r
			now.mode += shift
			var w Window
			w.Start.Mid, w.Median.Mid, w.End.Mid = r.quantile(0.05), r.quantile(0.5), r.quantile(0.95)
			days, e := now.observe(rng, 30)
			effort = e
			groups = append(groups, Season{days, w})
		}
		got := Shift(groups, effort, today)
		square += (got.Mid - shift) * (got.Mid - shift) / seasons
		if shift >= got.Low-0.5 && shift <= got.High+0.5 {
			within++
		}
	}
	t.Logf("RMS error %.1f days, %d of %d within the 80%% range", math.Sqrt(square), within, seasons)
	if rms := math.Sqrt(square); rms > 4 {
		t.Errorf("RMS error %.1f days; the prior alone has %.0f", rms, shiftSD)
	}
	if none := Shift(nil, EffortOf([Year]float64{}), 100); math.Abs(none.Mid) > 0.6 || math.Abs(none.High-1.28*shiftSD) > 1 {
		t.Errorf("without a record: %+v", none)
	}
}
