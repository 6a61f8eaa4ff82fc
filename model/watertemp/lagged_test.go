package watertemp

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// In weather and flow that no river has seen, the regression may say anything: the
// answer stays near the heat budget's and above freezing.
func TestTheRegressionStaysNearTheHeatBudget(t *testing.T) {
	rng := rand.New(rand.NewPCG(38, 1))
	bounded := 0
	for range 2000 {
		l := pooledLags.around([nClimate]float64{1, rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()})
		for i := range l {
			l[i] += rng.NormFloat64()
		}
		sin, cos := math.Sincos(6.3 * rng.Float64())
		mem := state{prev: 40 * rng.NormFloat64(), fast: 40 * rng.NormFloat64(), slow: 40 * rng.NormFloat64(), flow: 3 * rng.NormFloat64()}
		var r row
		mem.day(&r, 9, 40*rng.NormFloat64(), 3*rng.NormFloat64(), cos, sin)
		budget := 25 * rng.Float64()
		d := l.days(harmonics{cos: []float64{cos}, sin: []float64{sin}})
		got := l.combine(budget, &r, &d[0], 9)
		x := r.lags(9)
		if want := floats.Dot(l[:], x[:]); want > 0 && math.Abs(want-budget) < lagFar && math.Abs(got-budget-lagShare*(want-budget)) > 1e-9 {
			t.Fatalf("%v °C, and %v by the features that are fitted", got, want)
		}
		if got < 0 || math.Abs(got-budget) > lagShare*lagFar+1e-9 {
			t.Fatalf("%v °C beside %v °C of the heat budget", got, budget)
		}
		if math.Abs(got-budget) > lagShare*lagFar-1e-9 {
			bounded++
		}
	}
	if bounded < 100 || bounded > 1990 {
		t.Errorf("the bound was met %d times of 2000", bounded)
	}
}

// wideLags is the prior that the iteration begins with: nearly flat.
func wideLags() *lagPrior {
	b := &lagPrior{precision: mat.NewSymDense(nLag, nil)}
	for i := range nLag {
		sd := 2.0
		switch {
		case i < lAir:
			sd = 8
		case i >= lFlow && i < lBend:
			sd = 4
		}
		b.precision.SetSym(i, i, 1/(sd*sd))
	}
	return b
}

// poolLags is a step of the iteration, as pool is for the heat budget: the lines are
// regressed on what the records give, and the spread is that about the lines.
func poolLags(t testing.TB, b *lagPrior, fitters []*fitter) (*lagPrior, *mat.SymDense) {
	t.Helper()
	x, y := mat.NewDense(len(fitters), nClimate, nil), mat.NewDense(len(fitters), nLag, nil)
	unsure := make([]mat.SymDense, len(fitters))
	each(len(fitters), func(k int) {
		f := fitters[k]
		g := f.newLagFit(b)
		l := g.fit(f, nil)
		l = g.fit(f, &l)
		if err := g.precision.InverseTo(&unsure[k]); err != nil {
			t.Logf("record %d: %v", k, err)
		}
		climate := f.m.climate()
		x.SetRow(k, climate[:])
		y.SetRow(k, l[:])
	})
	lines, rest := throughClimate(t, x, y)
	n := float64(len(fitters))
	var cov mat.SymDense
	cov.SymOuterK(1/n, rest.T())
	for k := range unsure {
		for i := range nLag {
			for j := range i + 1 {
				cov.SetSym(i, j, cov.At(i, j)+unsure[k].At(i, j)/n)
			}
		}
	}
	out := &lagPrior{precision: mat.NewSymDense(nLag, nil)}
	for i := range nLag {
		for j := range nClimate {
			out.lines[i][j] = lines.At(j, i)
		}
	}
	var c mat.Cholesky
	if !c.Factorize(&cov) {
		t.Fatal("the spread has no root")
	}
	if err := c.InverseTo(out.precision); err != nil {
		t.Logf("%v", err)
	}
	return out, &cov
}

// The table of the lagged regression is what three years of 309 gauges give: twelve
// steps from a prior that says next to nothing, of which the last moves it little. ECLOSE_TABLES=1
// prints it anew.
func TestLaggedTableComesFromTheFittedYears(t *testing.T) {
	if !long() {
		t.Skip("fits 309 gauges: ECLOSE_LONG=1")
	}
	records := seen(t)
	fitters := make([]*fitter, len(records))
	each(len(records), func(k int) {
		f, err := newFitter(records[k])
		if err != nil {
			t.Error(err)
			return
		}
		f.polish(f.middle) // for the noise and the weights of its days
		fitters[k] = f
	})
	b := wideLags()
	var cov *mat.SymDense
	for range 12 {
		b, cov = poolLags(t, b, fitters)
	}
	if os.Getenv("ECLOSE_TABLES") == "1" {
		printLags(t, b, cov)
		return
	}
	worst, ratio := 0.0, 0.0
	for i, r := range readTable("lagged.csv", laggedCSV, nLag) {
		was := 0.0
		for _, v := range r.lower {
			was += v * v
		}
		for j, v := range r.line {
			worst = max(worst, math.Abs(v-b.lines[i][j])/math.Sqrt(was))
		}
		ratio = max(ratio, math.Abs(math.Log(cov.At(i, i)/was))/2)
	}
	t.Logf("%d gauges: the table is what they give to within %.4f of a spread and %.2f %% of the spreads", len(records), worst, 100*ratio)
	if worst > 0.02 || ratio > 0.02 {
		t.Error("the table is not what these records give")
	}
}

func printLags(t *testing.T, b *lagPrior, cov *mat.SymDense) {
	var c mat.Cholesky
	if !c.Factorize(cov) {
		t.Fatal("the spread has no root")
	}
	var low mat.TriDense
	c.LTo(&low)
	for i := range nLag {
		lower := make([]float64, i+1)
		for j := range lower {
			lower[j] = low.At(i, j)
		}
		fmt.Printf("%d,%s,%s%s\n", i, list(b.lines[i][:]), list(lower), strings.Repeat(",", nLag-i-1))
	}
}
