package phenology

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// observed invents what is seen in some seasons of a known truth: an observer
// who comes now and then, and a trap emptied every week in the last season.
func observed(rng *rand.Rand, truth Params, p Params, seasons []Season, trap bool) []Observation {
	var obs []Observation
	for s, season := range seasons {
		q := truth
		q.DD50 *= math.Exp(p.YearCV * rng.NormFloat64())
		q.MedianDOY += p.YearSD * rng.NormFloat64()
		many := math.Exp(seasonNumbers * rng.NormFloat64())
		emergence, eggs := q.Activity(season.WaterC)
		for range 12 {
			o := Observation{Season: s, Day: 110 + rng.IntN(110), Stage: Stage(rng.IntN(2)), Hours: 1 + 3*rng.Float64(), Detection: 0.8}
			share, rate := emergence, q.Rate()
			if o.Stage == EggLaying {
				share, rate = eggs, q.RateEggs()
			}
			u := rng.Float64()
			for o.Amount < Many {
				u -= SightingChance(o.Amount, rate*many, share[o.Day], o.Hours, o.Detection)
				if u < 0 {
					break
				}
				o.Amount++
			}
			obs = append(obs, o)
		}
		if trap && s == len(seasons)-1 {
			for d := 6; d < 350; d += 7 {
				n := 0.0
				for _, a := range emergence[d-6 : d+1] {
					n += a
				}
				obs = append(obs, Observation{Season: s, Day: d, Days: 7, Count: distuv.Poisson{Lambda: 90*n + 1e-9, Src: rng}.Rand()})
			}
		}
	}
	return obs
}

// Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788): truths
// drawn from the prior, records invented from them, and the truth's rank in
// the posterior must be uniform.
func TestCalibrationRecoversTruthsDrawnFromItsPrior(t *testing.T) {
	runs, steps := 40, 1500
	if os.Getenv("ECLOSE_LONG") == "1" {
		runs, steps = 400, 6000
	}
	names := [figures]string{"requirement", "calendar date", "weight", "spread", "peak chance"}
	const bins = 6
	var hist [figures][bins]int
	var inside [figures]int
	medianIn, medianErr, priorErr := 0, 0.0, 0.0
	for run := range runs {
		rng := rand.New(rand.NewPCG(uint64(run), 7))
		p := inventGroup()
		var e [figures]float64
		for k := range e {
			e[k] = rng.NormFloat64()
		}
		truth := p.at(e)
		seasons := make([]Season, 3)
		for s := range seasons {
			seasons[s].WaterC = inventWater(rng)
		}
		post, err := Calibrate(p, observed(rng, truth, p, seasons, run%2 == 0), seasons, Options{Seed: uint64(run), Steps: steps})
		if err != nil {
			t.Fatal(err)
		}
		for k := range figures {
			rank := 0
			for _, x := range post.Sample {
				if x[k] < e[k] {
					rank++
				}
			}
			u := (float64(rank) + rng.Float64()) / float64(len(post.Sample)+1)
			hist[k][min(int(u*bins), bins-1)]++
			if u > 0.1 && u < 0.9 {
				inside[k]++
			}
		}
		// A season to come, from the summed-up posterior, as a forecast uses it.
		water := inventWater(rng)
		truth.DD50 *= math.Exp(p.YearCV * rng.NormFloat64())
		truth.MedianDOY += p.YearSD * rng.NormFloat64()
		want := truth.Median(water)
		var dates []float64
		for _, q := range post.After.Draw(1, 200) {
			dates = append(dates, q.Median(water))
		}
		slices.Sort(dates)
		if dates[20] < want && want < dates[179] {
			medianIn++
		}
		medianErr += math.Abs(dates[100] - want)
		priorErr += math.Abs(p.Median(water) - want)
	}
	for k, name := range names {
		chi2 := 0.0
		mean := float64(runs) / bins
		for _, n := range hist[k] {
			chi2 += (float64(n) - mean) * (float64(n) - mean) / mean
		}
		// 0.001 for each of five figures.
		if limit := (distuv.ChiSquared{K: bins - 1}).Quantile(0.999); chi2 > limit {
			t.Errorf("%s: ranks %v are not uniform (chi-squared %.1f > %.1f)", name, hist[k], chi2, limit)
		}
		t.Logf("%s: ranks %v, chi-squared %.1f, 80 %% interval covers %d of %d", name, hist[k], chi2, inside[k], runs)
	}
	sd := math.Sqrt(0.16 * float64(runs))
	if math.Abs(float64(medianIn)-0.8*float64(runs)) > 3.3*sd {
		t.Errorf("80 %% intervals of the next season's median cover %d of %d", medianIn, runs)
	}
	if medianErr >= priorErr {
		t.Errorf("the median of the next season is missed by %.1f days after, %.1f before calibration", medianErr/float64(runs), priorErr/float64(runs))
	}
	t.Logf("next season's median: covered %d of %d, missed by %.2f days after and %.2f before", medianIn, runs, medianErr/float64(runs), priorErr/float64(runs))
}
