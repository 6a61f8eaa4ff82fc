package watertemp

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func knotAt(season, flow, air, left, days float64) knot {
	sin, cos := math.Sincos(season * gridSeasonStep)
	return knot{cos, sin, flow, air, left, days}
}

// On points of the grid the answer is the mean of the Gaussian process. The wanted
// figures are those of scikit-learn 1.2.1, GaussianProcessRegressor with the kernel
// ConstantKernel(1.2)*RBF([0.7, 0.7, 1, 4]) and alpha = 16/days, not optimised.
func TestKrigingAgainstScikitLearn(t *testing.T) {
	k := krige([]knot{
		knotAt(3, 0, -3, 0.5, 7), knotAt(3, 1.2, -1, 0.3, 7), knotAt(4, -0.5, 0, -0.2, 3.5),
		knotAt(9, -1.5, 7, -1.6, 7), knotAt(10, -1, 9, -1.1, 14), knotAt(16, 0.4, -8, 0.4, 7),
	})
	for _, x := range []struct {
		season            int
		flow, air, wanted float64
	}{{3, 0.5, -2, 0.18177341}, {9, -1.5, 8, -0.74616223}, {9, 1, 0, -0.00234328}, {0, 0, 0, 0.05955365}} {
		got := k[x.season][int((x.flow-gridFlowLow)/gridFlowStep)][int((x.air-gridAirLow)/gridAirStep)]
		if math.Abs(float64(got)-x.wanted) > 1e-7 {
			t.Errorf("season %d, flow %v, air %v: %.8f °C, not %.8f", x.season, x.flow, x.air, got, x.wanted)
		}
	}
}

// Between the points of the grid a straight line is near enough, and outside it the
// edge holds.
func TestTheGridIsFineEnough(t *testing.T) {
	rng := rand.New(rand.NewPCG(61, 1))
	var at []knot
	for range 60 {
		at = append(at, knotAt(18*rng.Float64(), rng.NormFloat64(), 6*rng.NormFloat64(), rng.NormFloat64(), 7))
	}
	k := krige(at)
	mean := exactly(at)
	most, off := 0.0, 0.0
	for range 5000 {
		day := rng.IntN(fourYears)
		var r row
		r.flow, r.x[fSlow] = 1.2*rng.NormFloat64(), 8*rng.NormFloat64()
		got := k.at(day, &r)
		want := mean(day, &r)
		most, off = max(most, math.Abs(want)), max(off, math.Abs(got-want))
	}
	t.Logf("at most %.3f °C from the exact mean, which reaches %.3f", off, most)
	if off > 0.1*most {
		t.Errorf("%.3f °C off where the mean reaches %.3f", off, most)
	}
}

// exactly is the mean of the process on a day, by the textbook and no grid.
func exactly(at []knot) func(day int, r *row) float64 {
	cov, left := mat.NewDense(len(at), len(at), nil), mat.NewVecDense(len(at), nil)
	for i, a := range at {
		left.SetVec(i, a.left)
		for j, b := range at {
			cov.Set(i, j, krigSpread*a.kernel(b))
		}
		cov.Set(i, i, krigSpread+krigNoise/a.days)
	}
	var weights mat.VecDense
	if err := weights.SolveVec(cov, left); err != nil {
		panic(err) // not of knots this far apart
	}
	return func(day int, r *row) float64 {
		sin, cos := wave(day)
		here := knot{cos: cos, sin: sin}
		here.flow, here.air = inGrid(r)
		sum := 0.0
		for i, a := range at {
			sum += weights.AtVec(i) * krigSpread * a.kernel(here)
		}
		return sum
	}
}

// A dam that lets cold water go when a warm summer is dry bends what the straight
// lines follow. Kriging finds it in three years and the fourth is the better for it;
// where nothing comes again, it adds next to nothing.
func TestWhatComesAgainIsFound(t *testing.T) {
	for _, cold := range []float64{0, 3} {
		var with, without mean
		for seed := range uint64(6) {
			in := invented(rand.New(rand.NewPCG(seed, 62)), 4*365)
			dry, lines := 0.0, Model{}
			lines.localize(in)
			for i := range in.Water {
				dry += (math.Log(in.Flow[i]/lines.MeanFlow) - dry) / 5
				if sin, cos := wave(in.Day0 + i); dry < -0.3 && cos < 0 && math.Abs(sin) < 0.7 {
					in.Water[i] = max(0, in.Water[i]-cold)
				}
			}
			m, err := Fit(until(in, 3*365), Options{Seed: 1})
			if err != nil {
				t.Fatal(err)
			}
			score := func(m Model) float64 {
				return scoreOf(m.Simulate(in.Day0, in.Air, in.Flow, math.NaN())[3*365:], in.Water[3*365:]).RMSE
			}
			with.add(score(m))
			m.Kriged = nil
			without.add(score(m))
		}
		t.Logf("%v °C colder when dry: RMSE %.3f °C with kriging, %.3f without", cold, with.of(), without.of())
		if cold > 0 && !(with.of() < 0.95*without.of()) || cold == 0 && !(with.of() < 1.02*without.of()) {
			t.Errorf("%v °C colder when dry: RMSE %.3f °C with kriging, %.3f without", cold, with.of(), without.of())
		}
	}
}

// Knots keep the sums of their days: nothing is left out and nothing counted twice.
func TestKnotsHoldAllDays(t *testing.T) {
	in := invented(rand.New(rand.NewPCG(63, 1)), 4000)
	spoil(rand.New(rand.NewPCG(63, 2)), in.Water, math.Inf(1))
	f, err := newFitter(in)
	if err != nil {
		t.Fatal(err)
	}
	left, days := 0.0, 0.0
	for k, i := range f.use {
		f.weight[k] = float64(k%3) / 2
		left, days = left+f.weight[k]*(in.Water[i]-f.sim[i]), days+f.weight[k]
	}
	at := f.knots()
	for _, n := range at {
		left, days = left-n.days*n.left, days-n.days
	}
	if math.Abs(left) > 1e-6 || math.Abs(days) > 1e-6 || len(at) > mostKnots+10 || len(at) < mostKnots/2 {
		t.Errorf("%d knots leave %v °C of %v days", len(at), left, days)
	}
	if slices.ContainsFunc(at, func(n knot) bool { return !(math.Hypot(n.cos, n.sin) <= 1+1e-9) }) {
		t.Error("a knot lies outside the year")
	}
}
