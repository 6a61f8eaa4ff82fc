package watertemp

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// nearest is the fitted gauge closest to another, by great circles as flat as
// they are over such distances; -1 if there is none.
func nearest(gs []fitted, to int) int {
	best, at := math.Inf(1), -1
	for i, g := range gs {
		if i == to {
			continue
		}
		north := g.lat - gs[to].lat
		east := (g.lon - gs[to].lon) * math.Cos(g.lat*math.Pi/180)
		if d := math.Hypot(north, east); d < best {
			best, at = d, i
		}
	}
	return at
}

// Gauges are taken for rivers without a thermometer: the model gets their air
// and flow only. Those that the tables have not seen are judged, in the year
// that no fit has seen.
func TestARiverWithoutAThermometerIsForecastWithAnHonestSpread(t *testing.T) {
	gs := fittedGauges(t)
	var judged []gauge
	for _, g := range gs {
		if g.unseen {
			judged = append(judged, g.gauge)
		}
	}
	learnWithout(t, readGauges(t), judged)
	var fittedHere, prior, lent, logistic []float64
	var inPrior, inLent mean
	for k, g := range gs {
		if !g.unseen {
			continue
		}
		in := g.in
		in.Water = make([]float64, len(in.Air))
		for i := range in.Water {
			in.Water[i] = math.NaN()
		}
		from := waterYears[3] - in.Day0
		judge := func(m Model, inside *mean) float64 {
			at := m.localized(in)
			sim := at.Simulate(in.Day0, in.Air, in.Flow, math.NaN())
			_, sd := m.FillGaps(in)
			for i := from; i < len(sim); i++ {
				if w := g.in.Water[i]; !math.IsNaN(w) {
					hit := 0.0
					if math.Abs(w-sim[i]) <= 1.2816*sd[i] {
						hit = 1
					}
					inside.add(hit)
				}
			}
			return scoreOf(sim[from:], g.in.Water[from:]).RMSE
		}
		prior = append(prior, judge(Prior(nil), &inPrior))
		by := gs[nearest(gs, k)]
		lent = append(lent, judge(Prior(by.model.AsDonor(until(by.in, from), kmApart(by.gauge, g.gauge))), &inLent))
		fittedHere = append(fittedHere, g.report.Check.Model.RMSE)
		logistic = append(logistic, g.report.Check.Logistic.RMSE)
	}
	t.Logf("%d gauges: median RMSE %.3f °C fitted, %.3f by the prior, %.3f with the nearest gauge's help; logistic regression fitted here %.3f", len(prior), quantile(fittedHere, 0.5), quantile(prior, 0.5), quantile(lent, 0.5), quantile(logistic, 0.5))
	t.Logf("within the 80 %% band: prior %.1f %%, with a donor %.1f %% of %.0f days", 100*inPrior.of(), 100*inLent.of(), inPrior.n)
	// The middle of all rivers alone has 1.9 °C.
	most, mostLent := 1.4, 1.37
	if !long() {
		most, mostLent = 1.5, 1.5 // too few for a middle
	}
	if m, l := quantile(prior, 0.5), quantile(lent, 0.5); !(m < most) || !(l < mostLent) {
		t.Errorf("prior: %.3f °C, with a donor %.3f; at most %v and %v", m, l, most, mostLent)
	}
	for _, c := range []mean{inPrior, inLent} {
		if !(c.of() >= 0.75 && c.of() <= 0.93) {
			t.Errorf("the 80 %% band holds %.3f", c.of())
		}
	}
}

func TestAPriorSaysThatItIsOne(t *testing.T) {
	in := invented(rand.New(rand.NewPCG(1, 1)), 900)
	m, err := Fit(in, Options{Seed: 1, Starts: 1})
	if err != nil {
		t.Fatal(err)
	}
	alone, lent := Prior(nil), Prior(&m)
	if alone.Grade != PriorAlone || lent.Grade != PriorNearby || m.Grade != Fitted {
		t.Errorf("grades are %q, %q and %q", alone.Grade, lent.Grade, m.Grade)
	}
	if !(alone.Error.SD >= lent.Error.SD) || !(lent.Error.SD > m.Error.SD) {
		t.Errorf("deviations %v, %v, %v °C", alone.Error.SD, lent.Error.SD, m.Error.SD)
	}
}

// The errors that a prior states where the flow is not known, so that nothing is learnt
// from rivers alike, are those of the fitted years, over the gauges behind
// the tables with their nearest as donor; and no other share of a donor does clearly
// better there.
func TestPriorsErrAsTheySay(t *testing.T) {
	if !long() {
		t.Skip("fits all gauges: ECLOSE_LONG=1")
	}
	gs := slices.DeleteFunc(slices.Clone(fittedGauges(t)), func(g fitted) bool { return g.unseen })
	of := func(share float64, donor bool) float64 {
		squares := make([]mean, len(gs))
		each(len(gs), func(k int) {
			m := Prior(nil)
			if donor {
				m = priorWith(&gs[nearest(gs, k)].model, share)
			}
			in := until(gs[k].in, waterYears[3]-gs[k].in.Day0)
			sim := m.Simulate(in.Day0, in.Air, nil, math.NaN())
			for i, w := range in.Water {
				if !math.IsNaN(w) {
					squares[k].add(square(sim[i] - w))
				}
			}
		})
		var all mean
		for _, s := range squares {
			all.add(s.of())
		}
		return math.Sqrt(all.of())
	}
	alone, lent := of(0, false), of(donorShare, true)
	t.Logf("%d gauges: %.3f °C without a donor, %.3f with %v of it", len(gs), alone, lent, donorShare)
	for _, share := range []float64{0.1, 0.4, 0.6, 1} {
		other := of(share, true)
		t.Logf("with %v of it: %.3f °C", share, other)
		if other < 0.98*lent {
			t.Errorf("%v of a donor does better: %.3f °C", share, other)
		}
	}
	if math.Abs(alone-priorSD) > 0.1 || math.Abs(lent-donorSD) > 0.1 {
		t.Errorf("priors say that they are %v and %v °C wrong", priorSD, donorSD)
	}
}
