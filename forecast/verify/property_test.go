package verify

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func TestDecompositionsAddUpForAnyBins(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n := 2 + rng.IntN(60)
		p, y := make([]float64, n), make([]bool, n)
		for i := range p {
			p[i] = math.Round(rng.Float64()*20) / 20
			y[i] = rng.Float64() < p[i]
		}
		want := Brier(p, y)
		for name, b := range map[string][]Bin{"distinct": Distinct(p, y), "one bin": Binned(p, y, []float64{0, 1}),
			"four": Binned(p, y, EqualBins(4)), "narrow edges": Binned(p, y, []float64{0.4, 0.5, 0.6})} {
			near(t, name, Decompose(b).Brier, want, 1e-12)
		}
		d := Decompose(Distinct(p, y))
		near(t, "no variance within equal forecasts", d.WithinVariance, 0, 1e-15)
		c := DecomposeBiasCorrected(Distinct(p, y))
		near(t, "corrected terms keep their sum", c.Reliability-c.Resolution+c.Uncertainty, want, 1e-12)
		k := DecomposeCORP(p, y)
		near(t, "CORP adds up", k.Miscalibration-k.Discrimination+k.Uncertainty, want, 1e-12)
		if k.Miscalibration < -1e-12 || k.Discrimination < -1e-12 {
			t.Errorf("CORP terms below zero: %+v", k)
		}
	}
}

// The fair score of m members has, over all ensembles drawn from F, the mean of
// the score of F itself: checked by going through every ensemble.
func TestFairScoresDoNotPunishSmallEnsembles(t *testing.T) {
	support, prob := []float64{0, 1, 4}, []float64{0.5, 0.3, 0.2}
	for _, m := range []int{2, 3, 4} {
		var fair, plain, fairBrier float64
		var walk func(x []float64, w float64)
		y := 1.0
		walk = func(x []float64, w float64) {
			if len(x) == m {
				fair += w * CRPSFair(y, x)
				plain += w * CRPS(y, x)
				k := 0
				for _, v := range x {
					if v > 0.5 {
						k++
					}
				}
				fairBrier += w * BrierFair(k, m, true)
				return
			}
			for i, v := range support {
				walk(append(slices.Clone(x), v), w*prob[i])
			}
		}
		walk(nil, 1)
		want := CRPSWeighted(y, support, prob)
		near(t, "mean fair CRPS", fair, want, 1e-12)
		near(t, "mean fair Brier", fairBrier, 0.25, 1e-12)
		if plain <= want {
			t.Errorf("plain CRPS of %d members has mean %v, not above %v", m, plain, want)
		}
	}
}

func TestCRPSByThreeRoads(t *testing.T) {
	// An ensemble of quantiles, the closed form, and the sum over days of a
	// discretised normal agree as far as each is fine.
	y, mu, sd := 143.0, 140.0, 6.0
	d := distuv.Normal{Mu: mu, Sigma: sd}
	const m = 20000
	x := each(m, func(i int) float64 { return d.Quantile((float64(i) + 0.5) / m) })
	want := CRPSNormal(y, mu, sd)
	near(t, "ensemble of quantiles", CRPS(y, x), want, 1e-5)
	days := each(200, func(i int) float64 { return d.CDF(float64(50+i) + 0.5) })
	near(t, "sum over whole days", CRPSDiscrete(y, 50, days), want, 0.02)
	var pinball float64
	const q = 4000
	for i := range q {
		tau := (float64(i) + 0.5) / q
		pinball += 2 * QuantileScore(y, d.Quantile(tau), tau) / q
	}
	near(t, "twice the mean pinball loss", pinball, want, 1e-3)
	near(t, "stopped at a far horizon", CRPSUntil(y, x, 1000), CRPS(y, x), 1e-12)
	if a, b := CRPSUntil(math.Inf(1), x, 145), CRPSUntil(145, x, 145); a != b {
		t.Errorf("an outcome that never came scores %v, at the horizon %v", a, b)
	}
}

func TestHonestForecastScoresBestOnAverage(t *testing.T) {
	// For events of chance 0.3, reporting q has the mean Brier and log score
	// least at q = 0.3.
	mean := func(score func([]float64, []bool) float64, q float64) float64 {
		return 0.3*score([]float64{q}, []bool{true}) + 0.7*score([]float64{q}, []bool{false})
	}
	for name, score := range map[string]func([]float64, []bool) float64{"Brier": Brier, "log": LogBinary} {
		best := mean(score, 0.3)
		for q := 0.01; q < 1; q += 0.01 {
			if mean(score, q) < best-1e-12 {
				t.Errorf("%s score prefers %v to the truth 0.3", name, q)
			}
		}
	}
}

func TestRankHistogramOfHonestEnsemblesIsFlatInSpiteOfTies(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	n, m := 20000, 9
	y, members := make([]float64, n), make([][]float64, n)
	for i := range y {
		y[i] = float64(rng.IntN(6))
		members[i] = each(m, func(int) float64 { return float64(rng.IntN(6)) })
	}
	counts := RankHistogram(y, members, 5)
	if f := TestFlat(counts); f.P < 0.001 {
		t.Errorf("ranks %v are not flat: p %v", counts, f.P)
	}
	if !slices.Equal(counts, RankHistogram(y, members, 5)) {
		t.Error("the same seed gave other ranks")
	}
	// Members drawn from half the range: the outcome falls outside too often.
	for i := range members {
		members[i] = each(m, func(int) float64 { return float64(2 + rng.IntN(2)) })
	}
	if f := TestFlat(RankHistogram(y, members, 5)); f.PCurve > 1e-6 {
		t.Errorf("too narrow ensembles pass: %+v", f)
	}
}

func TestBootstrapTakesSeasonsWhole(t *testing.T) {
	// Twenty rivers that all share one season's luck: the interval must be as
	// wide as ten seasons make it, not as narrow as two hundred cases would.
	rng := rand.New(rand.NewPCG(6, 7))
	var seasons []int
	var scores []float64
	for s := range 10 {
		luck := rng.NormFloat64()
		for range 20 {
			seasons, scores = append(seasons, 2000+s), append(scores, luck)
		}
	}
	a := BootstrapBySeason(seasons, MeanOf(scores), 0.95, 2000, 9)
	if a.Seasons != 10 {
		t.Errorf("%d seasons, want 10", a.Seasons)
	}
	perSeason := each(10, func(s int) float64 { return scores[20*s] })
	se := math.Sqrt(variance(perSeason) * 9 / 10 / 10)
	if w := (a.High - a.Low) / (2 * 1.96 * se); w < 0.85 || w > 1.15 {
		t.Errorf("interval is %v of the width that ten seasons have", w)
	}
	near(t, "value", a.Value, Mean(scores), 1e-12)
	if b := BootstrapBySeason(seasons, MeanOf(scores), 0.95, 2000, 9); a != b {
		t.Error("the same seed gave another interval")
	}
	shuffledSeasons, shuffledScores := slices.Clone(seasons), slices.Clone(scores)
	slices.Reverse(shuffledSeasons)
	slices.Reverse(shuffledScores)
	b := BootstrapBySeason(shuffledSeasons, MeanOf(shuffledScores), 0.95, 2000, 9)
	near(t, "order of cases does not matter", b.Low, a.Low, 1e-12)
	one := BootstrapBySeason([]int{1, 1}, MeanOf([]float64{1, 2}), 0.95, 100, 1)
	if !math.IsNaN(one.Low) || one.Value != 1.5 {
		t.Errorf("one season gave %+v, want its value and no interval", one)
	}
}

func TestSkillIsPairedAndSaidInWords(t *testing.T) {
	var seasons []int
	var model, calendar []float64
	for s := range 12 {
		for range 5 {
			seasons = append(seasons, s)
			calendar = append(calendar, 4+float64(s)) // seasons differ widely,
			model = append(model, 0.8*(4+float64(s))) // the ratio does not
		}
	}
	skill := BootstrapBySeason(seasons, SkillOf(model, calendar), 0.9, 500, 1)
	near(t, "skill", skill.Value, 0.2, 1e-12)
	near(t, "its low end", skill.Low, 0.2, 1e-9)
	if !skill.Excludes(0) || Verdict(skill) != "better than the reference" {
		t.Errorf("%+v: %s", skill, Verdict(skill))
	}
	for _, c := range []struct {
		in   Interval
		want string
	}{
		{Interval{-0.2, -0.3, -0.1, 20}, "worse than the reference"},
		{Interval{0.1, -0.1, 0.3, 20}, "not demonstrated: the interval includes zero"},
		{Interval{0.5, 0.4, 0.6, FewSeasons - 1}, "not demonstrated: too few seasons"},
	} {
		if got := Verdict(c.in); got != c.want {
			t.Errorf("%+v is called %q, want %q", c.in, got, c.want)
		}
	}
}

func TestTimingAndCoverageLeaveOutWhatNeverCame(t *testing.T) {
	nan := math.NaN()
	e := TimingErrors([]float64{10, 12, nan, 20}, []float64{8, 15, 4, nan})
	want := Timing{N: 2, Missing: 2, Bias: -0.5, MAE: 2.5, RMSE: math.Sqrt(6.5), Median: -0.5, P90: 2.9}
	near(t, "RMSE", e.RMSE, want.RMSE, 1e-12)
	near(t, "P90", e.P90, want.P90, 1e-12)
	e.RMSE, e.P90 = want.RMSE, want.P90
	if e != want {
		t.Errorf("timing %+v, want %+v", e, want)
	}
	c := Cover([]float64{5, 1, 9, nan, 2}, []float64{4, 2, 2, 2, 2}, []float64{6, 6, 6, 6, 6})
	if c.N != 4 || c.Missing != 1 || c.Below != 1 || c.Above != 1 || c.Share != 0.5 || c.Width != 3.5 {
		t.Errorf("coverage %+v", c)
	}
	if e := TimingErrors(nil, nil); e.N != 0 || !math.IsNaN(e.RMSE) {
		t.Errorf("no cases give %+v, want NaN", e)
	}
}

func TestEdges(t *testing.T) {
	for name, v := range map[string]float64{
		"Brier of nothing": Brier(nil, nil), "CRPS without members": CRPS(1, nil), "quantile of nothing": Quantile(nil, 0.5),
		"skill against perfection": Skill(0.1, 0), "weighted CRPS without weight": CRPSWeighted(1, []float64{1}, []float64{0}),
		"ROC area of events only": ROCArea([]float64{0.1, 0.2}, []bool{true, true}), "discrete CRPS of nothing": CRPSDiscrete(1, 0, nil),
		"kernel score of one member": LogKernel(1, []float64{2}), "fair Brier of one member": BrierFair(1, 1, true),
		"Hersbach of nothing": Hersbach(nil, nil).CRPS,
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s is %v, want NaN", name, v)
		}
	}
	near(t, "normal of no width", CRPSNormal(3, 1, 0), 2, 0)
	near(t, "mixture of no width", CRPSNormalMixture(3, []float64{1, 5}, []float64{0, 0}, []float64{1, 1}), CRPS(3, []float64{1, 5}), 1e-12)
	near(t, "below all listed days", CRPSDiscrete(7, 10, []float64{1}), 3, 0)
	near(t, "above all listed days", CRPSDiscrete(12, 10, []float64{1}), 2, 0)
	near(t, "logistic far out", CRPSLogistic(1e6, 0, 1), 1e6-1, 1e-9)
	near(t, "lognormal of a value below zero", CRPSLogNormal(-1, 0, 0.5), 1+CRPSLogNormal(0, 0, 0.5), 1e-12)
	defer func() {
		if recover() == nil {
			t.Error("unequal lengths did not panic")
		}
	}()
	Brier([]float64{0.5}, nil)
}
