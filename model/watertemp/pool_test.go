package watertemp

import (
	"fmt"
	"math"
	"os"
	"strconv"
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

// average is a reach that is in all the middle of the rivers behind the tables.
var average = [nClimate]float64{1}

// pool is a step of expectation-maximisation: every record is fitted under the
// belief, and the prior becomes the lines through the fits and their spread about
// those, each with its own uncertainty.
func pool(t testing.TB, b *prior, records []Input) (*prior, *mat.SymDense) {
	t.Helper()
	fits := make([]Params, len(records))
	climates := make([][nClimate]float64, len(records))
	unsure := make([]*mat.SymDense, len(records))
	each(len(records), func(k int) {
		f, err := newFitter(records[k])
		if err != nil {
			t.Error(err)
			return
		}
		climates[k] = f.m.climate()
		f.b, f.middle = b, b.around(climates[k])
		f.polish(f.middle)
		fits[k] = f.m.Params
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
	out := &prior{}
	x, y := mat.NewDense(len(fits), nClimate, nil), mat.NewDense(len(fits), nParam, nil)
	for k := range fits {
		x.SetRow(k, climates[k][:])
		y.SetRow(k, fits[k][:])
	}
	lines, rest := throughClimate(t, x, y)
	cov := mat.NewSymDense(nParam, nil)
	cov.SymOuterK(1/float64(len(fits)), rest.T())
	for _, u := range unsure {
		for i := range nParam {
			for j := range i + 1 {
				cov.SetSym(i, j, cov.At(i, j)+u.At(i, j)/float64(len(fits)))
			}
		}
	}
	var c mat.Cholesky
	if !c.Factorize(cov) {
		t.Fatal("the spread has no root")
	}
	var low mat.TriDense
	c.LTo(&low)
	for i := range nParam {
		for j := range nClimate {
			out.lines[i][j] = lines.At(j, i)
		}
		for j := range i + 1 {
			out.lower[i][j] = low.At(i, j)
		}
	}
	out.finish()
	return out, cov
}

// throughClimate is the lines through what many reaches have, y, a row each, by what
// weather and flow show of them, x, and what is left.
func throughClimate(t testing.TB, x, y *mat.Dense) (lines, rest *mat.Dense) {
	t.Helper()
	var xtx, xty mat.Dense
	xtx.Mul(x.T(), x)
	for i := 1; i < nClimate; i++ {
		xtx.Set(i, i, xtx.At(i, i)+3) // a little ridge
	}
	xty.Mul(x.T(), y)
	lines, rest = &mat.Dense{}, &mat.Dense{}
	if err := lines.Solve(&xtx, &xty); err != nil {
		t.Fatal(err)
	}
	rest.Mul(x, lines)
	rest.Sub(y, rest)
	return lines, rest
}

// The table is what three years of 309 gauges give: one more step moves the
// prior little (it was not followed to the very end). ECLOSE_TABLES=N goes on for N
// steps and prints the table anew.
func TestPooledTableComesFromTheFittedYears(t *testing.T) {
	if !long() {
		t.Skip("fits 309 gauges: ECLOSE_LONG=1")
	}
	records := seen(t)
	steps, _ := strconv.Atoi(os.Getenv("ECLOSE_TABLES"))
	b := pooled
	for step := range max(1, steps) {
		was := b
		var cov *mat.SymDense
		b, cov = pool(t, was, records)
		worst, ratio := 0.0, 0.0
		for i := range nParam {
			v := 0.0
			for _, l := range was.lower[i][:i+1] {
				v += l * l
			}
			for j := range nClimate {
				worst = max(worst, math.Abs(b.lines[i][j]-was.lines[i][j])/math.Sqrt(v))
			}
			ratio = max(ratio, math.Abs(math.Log(cov.At(i, i)/v))/2)
		}
		t.Logf("%d gauges: step %d moves a line by at most %.3f of a spread and a spread by at most %.1f %%", len(records), step+1, worst, 100*ratio)
		if steps == 0 && (worst > 0.1 || ratio > 0.1) {
			t.Error("the table is not what these records give")
		}
	}
	if steps > 0 {
		for i := range nParam {
			fmt.Printf("%d,%s,%s%s\n", i, list(b.lines[i][:]), list(b.lower[i][:i+1]), strings.Repeat(",", nParam-i-1))
		}
	}
}

// list is numbers as they stand in a table.
func list(v []float64) string {
	s := make([]string, len(v))
	for j := range s {
		s[j] = fmt.Sprintf("%.4g", v[j])
	}
	return strings.Join(s, ",")
}
