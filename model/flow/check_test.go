package flow

import (
	"math"
	"testing"
)

// checkStep is how many days lie between two issues of the check.
const checkStep = 3

// Fit three water years, check the fourth, and rotate. The gauges that the pool comes
// from, on which the form of the model was chosen, are not among those checked, and the
// pool is made from the fitted years alone. The weather ahead is that of past seasons.
func TestFlowAheadOnGaugesOfTheUnitedStates(t *testing.T) {
	gs := readGauges(t)
	every, step, years := 1, checkStep, []int{3, 0, 1, 2}
	if !long() {
		every, step, years = 15, 14, []int{3}
	}
	var check []gauge
	for i, g := range gs {
		if i%designEvery != 0 {
			check = append(check, g)
		}
	}
	if long() && len(check) < 300 {
		t.Fatalf("only %d gauges to check", len(check))
	}
	var all [][4]score
	var means []float64
	for _, last := range years {
		prior := &pooled // of the years before the last water year
		if last != 3 {
			prior = poolOf(t, designFits(gs, last))
		}
		scores, mean := make([][4]score, (len(check)+every-1)/every), make([]float64, (len(check)+every-1)/every)
		each(len(scores), func(k int) {
			in, cut := rotated(check[k*every].in, last)
			m, err := FitUnder(in.slice(0, cut), prior)
			if err != nil {
				t.Errorf("gauge %s: %v", check[k*every].id, err)
				return
			}
			scores[k] = hindcast(in, cut, step, m)
			mean[k] = meanKnown(in.Flow[:cut])
		})
		if long() {
			summarize(t, yearName(last), scores, mean)
		}
		all, means = append(all, scores...), append(means, mean...)
	}
	demand(t, summarize(t, "all years", all, means))
}

func yearName(last int) string {
	return "water year " + []string{"2017", "2018", "2019", "2020"}[last]
}

func meanKnown(v []float64) float64 {
	s, n := 0.0, 0.0
	for _, x := range v {
		if !unknown(x) {
			s += x
			n++
		}
	}
	return s / n
}

// summary is a lead over all gauges.
type summary struct {
	lead                   int
	model, damped, climate float64 // median CRPS over the gauge's mean flow
	toDamped, toClimate    float64 // median of the gauges' ratios
	logDamped, logClimate  float64 // the same in log flow
	within                 float64
}

func summarize(t *testing.T, name string, scores [][4]score, means []float64) (out []summary) {
	t.Helper()
	for l, lead := range leads {
		var model, damped, point, climate, rd, rc, ld, lc []float64
		var sum score
		for i := range scores {
			s := scores[i][l]
			if s.n == 0 {
				continue
			}
			q := s.n * means[i]
			model, damped, point, climate = append(model, s.model/q), append(damped, s.damped/q), append(point, s.point/q), append(climate, s.climate/q)
			rd, rc = append(rd, s.model/s.damped), append(rc, s.model/s.climate)
			ld, lc = append(ld, s.logModel/s.logDamped), append(lc, s.logModel/s.logClimate)
			sum.n += s.n
			sum.within += s.within
			sum.below += s.below
			sum.above += s.above
			for k := range s.bins {
				sum.bins[k] += s.bins[k]
			}
		}
		for k := range sum.bins {
			sum.bins[k] = math.Round(1000*sum.bins[k]/sum.n) / 10
		}
		o := summary{lead, median(model), median(damped), median(climate), median(rd), median(rc), median(ld), median(lc), sum.within / sum.n}
		out = append(out, o)
		t.Logf("%s, %2d days ahead, %d gauge-years, %.0f forecasts: median CRPS/mean flow %.4f; damped persistence %.4f (without its errors %.4f), climatology %.4f; median ratio %.3f and %.3f, in log flow %.3f and %.3f; 80 %% band holds %.1f %%, %.1f below, %.1f above; reliability %v",
			name, lead, len(model), sum.n, o.model, o.damped, median(point), o.climate, o.toDamped, o.toClimate, o.logDamped, o.logClimate,
			100*o.within, 100*sum.below/sum.n, 100*sum.above/sum.n, sum.bins)
	}
	return out
}

func demand(t *testing.T, got []summary) {
	t.Helper()
	slack := 1.0
	if !long() {
		slack = 1.05 // twenty gauges and a few issues: a check that nothing broke
	}
	for _, s := range got {
		if s.toDamped >= slack || s.logDamped >= slack || s.toClimate >= 1 || s.logClimate >= 1 {
			t.Errorf("%d days ahead: CRPS over that of damped persistence %.3f, of climatology %.3f; in log flow %.3f and %.3f: want less than 1", s.lead, s.toDamped, s.toClimate, s.logDamped, s.logClimate)
		}
		if long() && (s.model >= s.damped || s.model >= s.climate) {
			t.Errorf("%d days ahead: median CRPS %.4f, damped persistence %.4f, climatology %.4f", s.lead, s.model, s.damped, s.climate)
		}
		if lo, hi := 0.75/slack, 0.85*slack; s.within < lo || s.within > hi {
			t.Errorf("%d days ahead: the 80 %% band holds %.1f %%", s.lead, 100*s.within)
		}
	}
}
