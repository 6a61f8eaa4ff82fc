package flow

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

// designEvery is which of the check set's gauges the pool comes from and the form of
// the model was chosen on: the first and every fourth after it. The check is made on
// the others.
const designEvery = 4

// poolOf learns a prior from the first days of gauges.
func poolOf(t testing.TB, ins []Input) *Prior {
	t.Helper()
	prior, err := poolFactors(ins)
	if err != nil {
		t.Fatal(err)
	}
	left := make([][numKnots][]outcome, len(ins))
	each(len(ins), func(i int) {
		m, err := fitPlain(ins[i], &prior, lapses)
		if err != nil {
			t.Error(err)
			return
		}
		left[i] = leaveOut(ins[i], &prior, m.lapse)
	})
	prior.Corrections = poolCorrections(left)
	return &prior
}

// vague is the prior of the first round of pooling: a river that moves by recession
// alone.
func vague() Prior {
	var p Prior
	for k := range p.FactorsSD {
		p.FactorsSD[k] = 0.3
	}
	for k := range p.SizesSD {
		p.SizesSD[k] = 1
	}
	p.Factors[fastAbove] = -0.1
	p.Sizes[sizeMean] = math.Log(0.05)
	for k := range p.Corrections {
		p.Corrections[k] = noCorrection
	}
	return p
}

// poolRounds is how often the prior is drawn from fits made under the one before.
const poolRounds = 3

// poolFactors learns a prior without corrections from histories by expectation and maximization: fits under the
// prior, then mean and spread of the fits and of their uncertainty.
func poolFactors(ins []Input) (Prior, error) {
	p := vague()
	for range poolRounds {
		next := vague()
		var sum, square [numFeatures]float64
		var sizeSum, sizeSquare [numSizes]float64
		n := 0.0
		for _, in := range ins {
			b, bv, c, cv, err := fitFor(in, &p)
			if err != nil {
				return p, err
			}
			n++
			for k := range b {
				sum[k] += b[k]
				square[k] += b[k]*b[k] + bv[k]
			}
			for k := range c {
				sizeSum[k] += c[k]
				sizeSquare[k] += c[k]*c[k] + cv[k]
			}
		}
		for k := range sum {
			mu := sum[k] / n
			next.Factors[k], next.FactorsSD[k] = mu, math.Sqrt(max(square[k]/n-mu*mu, 1e-6))
		}
		for k := range sizeSum {
			mu := sizeSum[k] / n
			next.Sizes[k], next.SizesSD[k] = mu, math.Sqrt(max(sizeSquare[k]/n-mu*mu, 1e-6))
		}
		p = next
	}
	return p, nil
}

// fitFor returns the factors and sizes of a fit with their variances.
func fitFor(in Input, p *Prior) (b, bv, c, cv []float64, err error) {
	m, err := fitPlain(in, p, lapses)
	if err != nil {
		return nil, nil, nil, nil, err
	}
	f := fitting{m: m, in: in, prior: p, logs: make([]float64, len(in.Flow))}
	for i, q := range in.Flow {
		f.logs[i] = m.log(q)
	}
	f.tryLapse(m.lapse)
	b, bv = f.equations.solve(p.Factors[:], p.precision())
	for k := range bv {
		bv[k] *= weightUnit * weightUnit * priorWeight
	}
	c, cv = f.sizeEquations.solve(p.Sizes[:], p.sizePrecision())
	for k := range cv {
		cv[k] *= sizeWeight
	}
	return b, bv, c, cv, nil
}

// trusts are the shares that a pool tries.
var trusts = []float64{0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1}

// trust finds the share of their own in the width of bands at which the widest third of
// each gauge's bands holds as many outcomes as the narrowest.
func trust(all []calibration, at Correction) float64 {
	best, least := 1.0, math.Inf(1)
	for _, share := range trusts {
		at.OwnWidth = share
		at.Above, at.Below = poolSpread(all, at)
		var hit, n [2]float64
		for _, c := range all {
			if len(c.cases) == 0 {
				continue
			}
			at.UsualLogWidth = c.usual()
			up, down := c.standoffs(at)
			widths := make([]float64, len(c.cases))
			for i := range widths {
				widths[i] = c.cases[i].logWidth()
			}
			slices.Sort(widths)
			for i := range c.cases {
				for k, third := range []bool{c.cases[i].logWidth() <= quantile(widths, 1./3), c.cases[i].logWidth() >= quantile(widths, 2./3)} {
					if third {
						n[k]++
						if up[i] <= at.Above && down[i] <= at.Below {
							hit[k]++
						}
					}
				}
			}
		}
		if gap := math.Abs(hit[0]/n[0] - hit[1]/n[1]); gap < least {
			best, least = share, gap
		}
	}
	return best
}

// poolSpread is the spread of all cases, whose widths are usual or not gauge by gauge.
func poolSpread(all []calibration, at Correction) (above, below float64) {
	var up, down []float64
	for i := range all {
		if len(all[i].cases) == 0 {
			continue
		}
		at.UsualLogWidth = all[i].usual()
		a, b := all[i].standoffs(at)
		up, down = append(up, a...), append(down, b...)
	}
	slices.Sort(up)
	slices.Sort(down)
	return quantile(up, 0.9), quantile(down, 0.9)
}

// poolCorrections fits corrections to the left-out years of many gauges.
func poolCorrections(all [][numKnots][]outcome) (out [numKnots]Correction) {
	for k := range out {
		var cases []outcome
		each := make([]calibration, len(all))
		for i, left := range all {
			cases = append(cases, left[k]...)
			each[i] = newCalibration(left[k])
		}
		c := newCalibration(cases)
		v, _ := c.eq.solve(nil, make([]float64, 3))
		at := Correction{Own: v[0], Today: v[1], OwnWidth: 1}
		at.Shift = c.shift(at)
		at.OwnWidth = trust(each, at)
		at.Above, at.Below = poolSpread(each, at)
		out[k] = at
	}
	return out
}

// designFits are the fitted years of the gauges of the pool, with the given water year
// left for the check.
func designFits(gs []gauge, last int) (fits []Input) {
	for i := 0; i < len(gs); i += designEvery {
		in, cut := rotated(gs[i].in, last)
		fits = append(fits, in.slice(0, cut))
	}
	return fits
}

// The table in the program is what the first three water years of the gauges of the pool
// give. ECLOSE_WRITE=1 writes it.
func TestPooledTable(t *testing.T) {
	if !long() {
		t.Skip("pools a hundred gauges: waits for ECLOSE_LONG=1")
	}
	p := poolOf(t, designFits(readGauges(t), 3))
	var b strings.Builder
	fmt.Fprintf(&b, "package flow\n\n// pooled is the prior from every fourth of 404 gauges of the United States (daily flow of\n// the USGS, air of PRISM, October 2016 to September 2019); TestPooledTable makes it. Of\n// rain it knows nothing.\nvar pooled = Prior{\n")
	row := func(name string, v []float64) {
		fmt.Fprintf(&b, "\t%s: [...]float64{", name)
		for _, x := range v {
			fmt.Fprintf(&b, "%.4g, ", x)
		}
		fmt.Fprintf(&b, "},\n")
	}
	row("Factors", p.Factors[:])
	row("FactorsSD", p.FactorsSD[:])
	row("Sizes", p.Sizes[:])
	row("SizesSD", p.SizesSD[:])
	fmt.Fprintf(&b, "\tCorrections: [...]Correction{\n")
	for _, c := range p.Corrections {
		fmt.Fprintf(&b, "\t\t{Own: %.3f, Today: %.3f, Shift: %.4f, Above: %.3f, Below: %.3f, Trust: %.2f},\n", c.Own, c.Today, c.Shift, c.Above, c.Below, c.OwnWidth)
	}
	fmt.Fprintf(&b, "\t},\n}\n")
	if os.Getenv("ECLOSE_WRITE") == "1" {
		if err := os.WriteFile("pooled_table.go", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for k := range p.Factors {
		if math.Abs(p.Factors[k]-pooled.Factors[k]) > 0.002 {
			t.Errorf("factor %d: %.4f in the table, %.4f pooled", k, pooled.Factors[k], p.Factors[k])
		}
	}
	for k, c := range p.Corrections {
		if math.Abs(c.Above-pooled.Corrections[k].Above) > 0.02 || math.Abs(c.Own-pooled.Corrections[k].Own) > 0.02 {
			t.Errorf("correction at %d days: %.3f in the table, %.3f pooled", knots[k], pooled.Corrections[k], c)
		}
	}
}
