package watertemp

import (
	"math"
	"testing"
	"time"
)

// Every start of every seed is drawn: no two seeds share one. Parameters may trade
// against each other; what counts is that the water comes out the same.
func TestFiveSeedsFindTheSameOptimum(t *testing.T) {
	files := map[string]string{"Mentue": "MAH_2369", "Dischmabach": "DAV_2327", "Rhone": "SIO_2011"}
	for name, file := range files {
		cal := readSwiss(t, shared(t, "streamtemp", "air2stream_ch", file+"_cc.txt"))
		val := readSwiss(t, shared(t, "streamtemp", "air2stream_ch", file+"_cv.txt"))
		began := time.Now()
		sims, apart := fiveSeeds(t, cal, val)
		t.Logf("%s: %.1f years of record, %.2f s a fit; validation %.4f °C, seeds at most %.4f °C apart on any day", name, float64(len(cal.Air))/365.25, time.Since(began).Seconds()/5, rmse(sims[0], val.Water), apart)
		if apart > 0.02 {
			t.Errorf("%s: the seeds are %.3f °C apart on a day", name, apart)
		}
	}
	if !long() {
		return
	}
	gs := readGauges(t)
	far := make([]float64, len(gs))
	each(len(gs), func(i int) {
		in := until(gs[i].in, waterYears[3]-gs[i].in.Day0)
		_, far[i] = fiveSeeds(t, in, gs[i].in)
	})
	other := 0
	for i, d := range far {
		if d > 0.02 {
			other++
			t.Logf("gauge %s: the seeds are %.3f °C apart on a day", gs[i].id, d)
		}
	}
	t.Logf("%d of %d gauges with three years: not the same optimum", other, len(gs))
	if other > len(gs)/50 {
		t.Errorf("%d of %d gauges have seeds apart", other, len(gs))
	}
}

// fiveSeeds fits with five seeds and gives what each makes of another span, and the
// most that any is from the first on a day, °C.
func fiveSeeds(t testing.TB, fit, of Input) (sims [5][]float64, apart float64) {
	for seed := range sims {
		m, err := Fit(fit, Options{Seed: uint64(seed)})
		if err != nil {
			t.Error(err)
			return sims, math.NaN()
		}
		sims[seed] = m.Simulate(of.Day0, of.Air, of.Flow, firstKnown(of.Water))
		for i, v := range sims[seed] {
			apart = max(apart, math.Abs(v-sims[0][i]))
		}
	}
	return sims, apart
}
