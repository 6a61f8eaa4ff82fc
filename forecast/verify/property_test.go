package verify

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
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
		want := brier(p, y)
		for name, b := range map[string][]Bin{"distinct": Distinct(p, y), "one bin": Binned(p, y, []float64{0, 1}),
			"four": Binned(p, y, EqualBins(4)), "narrow edges": Binned(p, y, []float64{0.4, 0.5, 0.6})} {
			near(t, name, Decompose(b).Brier, want, 1e-12)
		}
		d := Decompose(Distinct(p, y))
		near(t, "no variance within equal forecasts", d.WithinVariance, 0, 1e-15)
	}
}

// The fair score of m members has, over all ensembles drawn from F, the mean of
// the score of F itself: checked by going through every ensemble.
func TestFairScoresDoNotPunishSmallEnsembles(t *testing.T) {
	support, prob := []float64{0, 1, 4}, []float64{0.5, 0.3, 0.2}
	for _, m := range []int{2, 3, 4} {
		var fair, plain float64
		var walk func(x []float64, w float64)
		y := 1.0
		walk = func(x []float64, w float64) {
			if len(x) == m {
				fair += w * CRPSForSize(y, x, 0)
				plain += w * CRPS(y, x)
				return
			}
			for i, v := range support {
				walk(append(slices.Clone(x), v), w*prob[i])
			}
		}
		walk(nil, 1)
		// mean |X - y| - mean |X - X'| / 2, summed by hand over the three values
		want := 0.0
		for i, a := range support {
			want += prob[i] * math.Abs(a-y)
			for k, b := range support {
				want -= prob[i] * prob[k] * math.Abs(a-b) / 2
			}
		}
		near(t, "mean fair CRPS", fair, want, 1e-12)
		if plain <= want {
			t.Errorf("plain CRPS of %d members has mean %v, not above %v", m, plain, want)
		}
	}
}

func TestCRPSOfQuantilesIsTheClosedForm(t *testing.T) {
	y, mu, sd := 143.0, 140.0, 6.0
	d := distuv.Normal{Mu: mu, Sigma: sd}
	const m = 20000
	x := each(m, func(i int) float64 { return d.Quantile((float64(i) + 0.5) / m) })
	want := CRPSNormal(y, mu, sd)
	near(t, "ensemble of quantiles", CRPS(y, x), want, 1e-5)
}

func TestHonestForecastScoresBestOnAverage(t *testing.T) {
	// For events of chance 0.3, reporting q has the mean Brier and log score
	// least at q = 0.3.
	mean := func(score func([]float64, []bool) float64, q float64) float64 {
		return 0.3*score([]float64{q}, []bool{true}) + 0.7*score([]float64{q}, []bool{false})
	}
	for name, score := range map[string]func([]float64, []bool) float64{"Brier": brier, "log": LogBinary} {
		best := mean(score, 0.3)
		for q := 0.01; q < 1; q += 0.01 {
			if mean(score, q) < best-1e-12 {
				t.Errorf("%s score prefers %v to the truth 0.3", name, q)
			}
		}
	}
}

// meanOf and skillOf make figures of BootstrapBySeason.
func meanOf(x []float64) func([]int) float64 {
	return func(cases []int) float64 { return mean(each(len(cases), func(i int) float64 { return x[cases[i]] })) }
}

func skillOf(score, reference []float64) func([]int) float64 {
	return func(cases []int) float64 { return Skill(meanOf(score)(cases), meanOf(reference)(cases)) }
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
	a := BootstrapBySeason(seasons, meanOf(scores), 0.95, 2000, 9)
	if a.Seasons != 10 {
		t.Errorf("%d seasons, want 10", a.Seasons)
	}
	perSeason := each(10, func(s int) float64 { return scores[20*s] })
	se := math.Sqrt(stat.PopVariance(perSeason, nil) / 10)
	if w := (a.High - a.Low) / (2 * 1.96 * se); w < 0.85 || w > 1.15 {
		t.Errorf("interval is %v of the width that ten seasons have", w)
	}
	near(t, "value", a.Value, mean(scores), 1e-12)
	if b := BootstrapBySeason(seasons, meanOf(scores), 0.95, 2000, 9); a != b {
		t.Error("the same seed gave another interval")
	}
	shuffledSeasons, shuffledScores := slices.Clone(seasons), slices.Clone(scores)
	slices.Reverse(shuffledSeasons)
	slices.Reverse(shuffledScores)
	b := BootstrapBySeason(shuffledSeasons, meanOf(shuffledScores), 0.95, 2000, 9)
	near(t, "order of cases does not matter", b.Low, a.Low, 1e-12)
	one := BootstrapBySeason([]int{1, 1}, meanOf([]float64{1, 2}), 0.95, 100, 1)
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
	skill := BootstrapBySeason(seasons, skillOf(model, calendar), 0.9, 500, 1)
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

func TestEdges(t *testing.T) {
	for name, v := range map[string]float64{
		"mean of nothing": mean(nil), "CRPS without members": CRPS(1, nil), "quantile of nothing": Quantile(nil, 0.5),
		"skill against perfection": Skill(0.1, 0), "fair CRPS of one member": CRPSForSize(2, []float64{1}, 0),
		"ROC area of events only": ROCArea([]float64{0.1, 0.2}, []bool{true, true}),
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s is %v, want NaN", name, v)
		}
	}
	near(t, "normal of no width", CRPSNormal(3, 1, 0), 2, 0)
	defer func() {
		if recover() == nil {
			t.Error("unequal lengths did not panic")
		}
	}()
	Distinct([]float64{0.5}, nil)
}
