package watertemp

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// Each seed starts somewhere else and from nowhere else: the start in the middle
// of the belief, which all fits share, is left out. Parameters may trade against
// each other; what counts is that the water comes out the same.
func TestFiveSeedsFindTheSameOptimum(t *testing.T) {
	files := map[string]string{"Mentue": "MAH_2369", "Dischmabach": "DAV_2327"}
	if long() {
		files["Rhone"] = "SIO_2011"
	}
	for name, file := range files {
		cal := readSwiss(t, shared(t, "streamtemp", "air2stream_ch", file+"_cc.txt"))
		val := readSwiss(t, shared(t, "streamtemp", "air2stream_ch", file+"_cv.txt"))
		var first []float64
		began := time.Now()
		for seed := range uint64(5) {
			f, err := newFitter(cal)
			if err != nil {
				t.Fatal(err)
			}
			f.polish(pooled.drawn(rand.New(rand.NewPCG(seed, 9)).NormFloat64, 0.7))
			sim := f.m.Simulate(val.Day0, val.Air, val.Flow, firstKnown(val.Water))
			if first == nil {
				first = sim
			}
			apart := 0.0
			for i := range sim {
				apart = max(apart, math.Abs(sim[i]-first[i]))
			}
			t.Logf("%s, seed %d: validation %.4f °C, at most %.4f °C from the first seed on any day", name, seed, rmse(sim, val.Water), apart)
			if apart > 0.02 {
				t.Errorf("%s: seed %d is %.3f °C from the first seed on a day", name, seed, apart)
			}
		}
		t.Logf("%s: %.1f years of record, %.2f s from one start", name, float64(len(cal.Air))/365.25, time.Since(began).Seconds()/5)
	}
}
