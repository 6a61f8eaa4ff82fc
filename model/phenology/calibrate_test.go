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
	names := [numParams]string{"requirement", "calendar date", "weight", "spread", "peak chance"}
	const bins = 6
	var hist [numParams][bins]int
	var inside [numParams]int
	medianIn, medianErr, priorErr := 0, 0.0, 0.0
	for run := range runs {
		rng := rand.New(rand.NewPCG(uint64(run), 7))
		p := inventGroup()
		var e [numParams]float64
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
		for k := range numParams {
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

func TestSightingsMoveTheWindowTowardsThemselves(t *testing.T) {
	p := inventGroup()
	water := mountainYear()
	for d := range water {
		water[d] += 1
	}
	seasons := []Season{{water}, {water}}
	base := p.Median(water)
	var obs []Observation
	for s := range seasons {
		for d := -40; d <= 60; d += 5 {
			a := None
			if d >= 8 && d <= 32 {
				a = Many
			}
			obs = append(obs, Observation{Season: s, Day: int(base) + d, Amount: a, Hours: 2})
		}
	}
	post, err := Calibrate(p, obs, seasons, Options{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if post.MovedDays < 8 || post.MovedDays > 22 || math.Abs(post.WindowAfter.Peak-post.WindowBefore.Peak-post.MovedDays) > 1e-9 {
		t.Errorf("moved by %.1f days; windows %v and %v", post.MovedDays, post.WindowBefore, post.WindowAfter)
	}
	if !post.After.Measured || post.After.Seasons != 2 || post.Sightings != len(obs) {
		t.Errorf("%d sightings of %d seasons", post.Sightings, post.After.Seasons)
	}
	if post.Accepted < 0.1 || post.Accepted > 0.6 {
		t.Errorf("the chain took %.2f of its steps", post.Accepted)
	}
	again, _ := Calibrate(p, obs, seasons, Options{Seed: 1})
	if again.After != post.After {
		t.Error("the same sightings gave other parameters")
	}
}

func TestHoursWithoutASightingAreEvidence(t *testing.T) {
	p := inventGroup()
	water := mountainYear()
	seasons := []Season{{water}}
	day := int(p.Median(water))
	var obs []Observation
	for d := -6; d <= 6; d += 2 {
		obs = append(obs, Observation{Day: day + d, Amount: None, Hours: 4})
	}
	post, err := Calibrate(p, obs, seasons, Options{Seed: 1, Steps: 6000})
	if err != nil {
		t.Fatal(err)
	}
	if post.After.PeakChance >= p.PeakChance {
		t.Errorf("after nothing was seen in season the chance on the peak day is %.2f, before %.2f", post.After.PeakChance, p.PeakChance)
	}
}

func TestSeasonsWithoutWaterCountByTheCalendar(t *testing.T) {
	p := inventGroup()
	obs := []Observation{
		{Day: 180, Amount: Many, Hours: 2}, {Day: 150, Amount: None, Hours: 3}, {Day: 185, Amount: Many, Hours: 2},
	}
	post, err := Calibrate(p, obs, []Season{{}}, Options{Seed: 1, Steps: 6000})
	if err != nil {
		t.Fatal(err)
	}
	if post.After.MedianDOY <= p.MedianDOY {
		t.Errorf("calendar from %.1f to %.1f", p.MedianDOY, post.After.MedianDOY)
	}
}

func TestCalibrateRefusesWhatItCannotUse(t *testing.T) {
	p := inventGroup()
	good := []Season{{mountainYear()}}
	gap := mountainYear()
	gap[100] = math.NaN()
	bad := p
	bad.SpreadDays = 0
	for name, c := range map[string]struct {
		p       Params
		obs     []Observation
		seasons []Season
	}{
		"a gap in the water":         {p, nil, []Season{{gap}}},
		"a season that is not there": {p, []Observation{{Season: 1, Hours: 1}}, good},
		"a day outside the water":    {p, []Observation{{Day: 600, Hours: 1}}, good},
		"no hours":                   {p, []Observation{{Day: 100}}, good},
		"no spread":                  {bad, nil, good},
	} {
		if _, err := Calibrate(c.p, c.obs, c.seasons, Options{}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if post, err := Calibrate(p, nil, good, Options{}); err != nil || post.After != p {
		t.Errorf("no sightings: %v", err)
	}
}

func TestChancesOfASightingAddUpToOne(t *testing.T) {
	for _, share := range []float64{0, 1e-6, 0.01, 0.05, 1} {
		for _, hours := range []float64{0.25, 2, 12} {
			for _, d := range []float64{0, 0.1, 0.8, 1} {
				var sum float64
				for y := None; y <= Many; y++ {
					q := SightingChance(y, 25, share, hours, d)
					if q < 0 || q > 1 {
						t.Fatalf("share %g, %g h, detection %g: chance %g", share, hours, d, q)
					}
					sum += q
				}
				if math.Abs(sum-1) > 1e-12 {
					t.Errorf("share %g, %g h, detection %g: %g", share, hours, d, sum)
				}
			}
		}
	}
}

func BenchmarkCalibrate(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 7))
	p := inventGroup()
	seasons := []Season{{inventWater(rng)}, {inventWater(rng)}, {inventWater(rng)}}
	obs := observed(rng, p.at([numParams]float64{}), p, seasons, true)
	for b.Loop() {
		if _, err := Calibrate(p, obs, seasons, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// What a season has shown until some day must place the rest of it: better than
// the river's usual parameters do, and with honest intervals.
func TestASeasonUnderWayIsForecastFromItsOwnSightings(t *testing.T) {
	runs := 60
	p := inventGroup()
	var own, usual float64
	in := 0
	for run := range runs {
		rng := rand.New(rand.NewPCG(uint64(run), 17))
		var e [numParams]float64
		for k := range e {
			e[k] = 0.5 * rng.NormFloat64()
		}
		truth := p.at(e)
		prior := p // narrower: the river is known
		prior.DD50CV, prior.MedianSD, prior.SpreadCV, prior.PeakCV, prior.WeightSD = p.DD50CV/2, p.MedianSD/2, p.SpreadCV/2, p.PeakCV/2, 0
		truth.Weight = p.Weight
		water := inventWater(rng)
		truth.DD50 *= math.Exp(p.YearCV * rng.NormFloat64())
		truth.MedianDOY += p.YearSD * rng.NormFloat64()
		want := truth.Median(water)
		many := math.Exp(seasonNumbers * rng.NormFloat64())
		emergence, _ := truth.Activity(water)
		var obs []Observation
		issue := int(prior.Median(water)) - 3
		for d := issue - 30; d <= issue; d += 2 {
			o := Observation{Day: d, Hours: 3, Detection: 0.8}
			u := rng.Float64()
			for o.Amount < Many {
				u -= SightingChance(o.Amount, truth.Rate()*many, emergence[d], o.Hours, o.Detection)
				if u < 0 {
					break
				}
				o.Amount++
			}
			obs = append(obs, o)
		}
		post, err := Calibrate(prior, obs, []Season{{water}}, Options{Seed: uint64(run), Steps: 2400})
		if err != nil {
			t.Fatal(err)
		}
		var dates []float64
		for _, q := range post.InSeason(0).Draw(1, 100) {
			dates = append(dates, q.Median(water))
		}
		slices.Sort(dates)
		if dates[10] < want && want < dates[89] {
			in++
		}
		own += math.Abs(dates[50] - want)
		usual += math.Abs(prior.Median(water) - want)
	}
	t.Logf("missed by %.2f days, %.2f without; covered %d of %d", own/float64(runs), usual/float64(runs), in, runs)
	if own > 0.9*usual {
		t.Errorf("missed by %.2f days, %.2f without the season's sightings", own/float64(runs), usual/float64(runs))
	}
	if sd := math.Sqrt(0.16 * float64(runs)); math.Abs(float64(in)-0.8*float64(runs)) > 3.3*sd {
		t.Errorf("80 %% intervals cover %d of %d", in, runs)
	}
}
