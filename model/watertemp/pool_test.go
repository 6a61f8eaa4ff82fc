package watertemp

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// seen are the gauges behind the pooled tables, each cut to the three years that
// are fitted.
func seen(t testing.TB) (out []Input) {
	for i, g := range readGauges(t) {
		if i%unseenEvery != 0 {
			out = append(out, until(g.in, waterYears[3]-g.in.Day0))
		}
	}
	return out
}

// pool is a step of expectation-maximisation: every record is fitted under the
// belief, and the belief becomes the mean and the spread of the fits, each with
// its own uncertainty. It gives the fits as well.
func pool(t testing.TB, b *belief, records []Input) (mean [nParam]float64, cov *mat.SymDense, fits []Model) {
	t.Helper()
	fits = make([]Model, len(records))
	unsure := make([]*mat.SymDense, len(records))
	each(len(records), func(k int) {
		f, err := newFitter(records[k])
		if err != nil {
			t.Error(err)
			return
		}
		f.b = b
		f.polish(b.mean)
		fits[k] = f.m
		p := f.m.Params
		f.normal(&p)
		precision := mat.NewSymDense(nParam, nil)
		for i := range nParam {
			for j := range i + 1 {
				precision.SetSym(i, j, f.jtj[i][j])
			}
		}
		var c mat.Cholesky
		unsure[k] = mat.NewSymDense(nParam, nil)
		if !c.Factorize(precision) || c.InverseTo(unsure[k]) != nil {
			t.Errorf("record %d: no posterior", k)
		}
	})
	n := float64(len(records))
	for _, f := range fits {
		for i, v := range f.Params {
			mean[i] += v / n
		}
	}
	cov = mat.NewSymDense(nParam, nil)
	for k, f := range fits {
		for i := range nParam {
			for j := range i + 1 {
				cov.SetSym(i, j, cov.At(i, j)+((f.Params[i]-mean[i])*(f.Params[j]-mean[j])+unsure[k].At(i, j))/n)
			}
		}
	}
	return mean, cov, fits
}

// The tables are what three years of 309 gauges give: one more step moves the
// belief little (it was not followed to the very end), and the lines through the
// climate are those that are written down. ECLOSE_TABLES=1 prints both tables
// anew.
func TestPooledTablesComeFromTheFittedYears(t *testing.T) {
	if !long() {
		t.Skip("fits 309 gauges: ECLOSE_LONG=1")
	}
	records := seen(t)
	m, cov, fits := pool(t, pooled, records)
	lines := regress(t, fits)
	if os.Getenv("ECLOSE_TABLES") == "1" {
		printTables(t, m, cov, lines)
	}
	worst, ratio := 0.0, 0.0
	for i := range m {
		was := 0.0
		for _, v := range pooled.lower[i][:i+1] {
			was += v * v
		}
		worst = max(worst, math.Abs(m[i]-pooled.mean[i])/math.Sqrt(was))
		ratio = max(ratio, math.Abs(math.Log(cov.At(i, i)/was))/2)
	}
	apart := 0.0
	for i := range nParam {
		for j := range lines[i] {
			apart = max(apart, math.Abs(lines[i][j]-regionalTable[i][j])/(0.01+math.Sqrt(cov.At(i, i))))
		}
	}
	t.Logf("%d gauges: a further step moves a mean by at most %.3f of its spread and a spread by at most %.1f %%; the lines by at most %.3f", len(records), worst, 100*ratio, apart)
	if worst > 0.25 || ratio > 0.2 || apart > 0.02 {
		t.Error("the tables are not what these records give")
	}
}

// regress fits the parameters to what weather and flow show of a reach.
func regress(t testing.TB, fits []Model) (lines [nParam][nClimate]float64) {
	t.Helper()
	x, y := mat.NewDense(len(fits), nClimate, nil), mat.NewDense(len(fits), nParam, nil)
	for k := range fits {
		c := fits[k].climate()
		x.SetRow(k, c[:])
		y.SetRow(k, fits[k].Params[:])
	}
	var xtx, xty, b mat.Dense
	xtx.Mul(x.T(), x)
	for i := 1; i < nClimate; i++ {
		xtx.Set(i, i, xtx.At(i, i)+3) // a little ridge
	}
	xty.Mul(x.T(), y)
	if err := b.Solve(&xtx, &xty); err != nil {
		t.Fatal(err)
	}
	for i := range nParam {
		for j := range nClimate {
			lines[i][j] = b.At(j, i)
		}
	}
	return lines
}

func printTables(t *testing.T, m [nParam]float64, cov *mat.SymDense, lines [nParam][nClimate]float64) {
	var c mat.Cholesky
	if !c.Factorize(cov) {
		t.Fatal("the spread has no root")
	}
	var low mat.TriDense
	c.LTo(&low)
	list := func(n int, at func(int) float64) string {
		s := make([]string, n)
		for j := range s {
			s[j] = fmt.Sprintf("%.4g", at(j))
		}
		return strings.Join(s, ", ")
	}
	for i := range nParam {
		fmt.Printf("\t{%.4g, []float64{%s}},\n", m[i], list(i+1, func(j int) float64 { return low.At(i, j) }))
	}
	for i := range nParam {
		fmt.Printf("\t{%s},\n", list(nClimate, func(j int) float64 { return lines[i][j] }))
	}
}
