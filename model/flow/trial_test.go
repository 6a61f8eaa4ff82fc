package flow

import (
	"cmp"
	"encoding/gob"
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"
)

func envInt(name string, d int) int {
	if v, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return v
	}
	return d
}

func TestTrial(t *testing.T) {
	if os.Getenv("TRIAL") == "" {
		t.Skip()
	}
	gs := readGauges(t)
	every, step, last := envInt("EVERY", 4), envInt("STEP", 9), envInt("LAST", 2)
	inner := os.Getenv("INNER") != ""
	var ins []Input
	var cuts []int
	for i := 0; i < len(gs); i += every {
		in, cut := rotated(gs[i].in, last)
		if inner { // drop the true check year; judge the third
			in = in.slice(0, cut)
			cut = 730
		}
		ins, cuts = append(ins, in), append(cuts, cut)
	}
	fits := make([]Input, len(ins))
	for i := range ins {
		fits[i] = ins[i].slice(0, cuts[i])
	}
	cache := fmt.Sprintf("/tmp/flow-prior-%d-%d-%v-%v-%v-%v-%d.gob", every, last, weightPower, priorWeight, sizeWeight, waveRidge, numFeatures)
	var prior Prior
	if f, err := os.Open(cache); err == nil && gob.NewDecoder(f).Decode(&prior) == nil {
		f.Close()
	} else {
		prior, err = poolFactors(fits)
		if err != nil {
			t.Fatal(err)
		}
		f, _ := os.Create(cache)
		gob.NewEncoder(f).Encode(prior)
		f.Close()
	}
	models, left := make([]*Model, len(ins)), make([][numKnots][]outcome, len(ins))
	each(len(ins), func(i int) {
		m, err := fitPlain(fits[i], &prior, lapses)
		if err != nil {
			t.Error(err)
			return
		}
		models[i], left[i] = m, leaveOut(fits[i], &prior, m.lapse)
	})
	prior.Corrections = poolCorrections(left)
	for k, c := range prior.Corrections {
		t.Logf("   correction %d: %.3f", knots[k], c)
	}
	t.Logf("factors %.3f\nsd %.3f\nsizes %.3f\nsd %.3f", prior.Factors, prior.FactorsSD, prior.Sizes, prior.SizesSD)
	scores := make([][4]score, len(ins))
	each(len(ins), func(i int) {
		m := models[i]
		m.correctFrom(left[i], &prior)
		scores[i] = hindcast(ins[i], cuts[i], step, envInt("MEMBERS", 200), m)
	})
	summarize(t, scores, ins, cuts)
}

func summarize(t *testing.T, scores [][4]score, ins []Input, cuts []int) {
	for l, lead := range leads {
		var model, known, damped, point, climate, rd, rc, lrd, lrc, lm []float64
		var n, in, below, above, din float64
		var bins [10]float64
		for i := range scores {
			s := scores[i][l]
			if s.n == 0 {
				continue
			}
			var q float64
			var c float64
			for _, v := range ins[i].Flow[:cuts[i]] {
				if !unknown(v) {
					q += v
					c++
				}
			}
			q = q / c * s.n
			model, known, damped, point, climate = append(model, s.model/q), append(known, s.known/q), append(damped, s.damped/q), append(point, s.point/q), append(climate, s.climate/q)
			rd, rc = append(rd, s.model/s.damped), append(rc, s.model/s.climate)
			lrd, lrc, lm = append(lrd, s.logModel/s.logDamped), append(lrc, s.logModel/s.logClimate), append(lm, s.logModel/s.n)
			n += s.n
			in += s.inside
			below += s.below
			above += s.above
			din += s.dampedInside
			for k := range bins {
				bins[k] += s.bins[k]
			}
		}
		var b, r, rd2, bd, sd []float64
		for i := range scores {
			if s := scores[i][l]; s.n > 0 {
				b, r, rd2, bd, sd = append(b, s.bias/s.n), append(r, s.rmse/s.n), append(rd2, s.rmseDamped/s.n), append(bd, s.biasDamped/s.n), append(sd, s.sd/s.n)
			}
		}
		var tw [5][4]float64
		for i := range scores {
			w := scores[i][l].width
			slices.SortFunc(w, func(a, b [4]float64) int { return cmp.Compare(a[0], b[0]) })
			for j, v := range w {
				k := j * 5 / len(w)
				tw[k][0]++
				tw[k][1] += v[1]
				tw[k][2] += v[2] / (scores[i][l].logDamped / scores[i][l].n)
				tw[k][3] += v[3] / (scores[i][l].logDamped / scores[i][l].n)
			}
		}
		for _, v := range tw {
			t.Logf("   correction by width: inside %.3f model %.3f damped %.3f", v[1]/v[0], v[2]/v[0], v[3]/v[0])
		}
		var b0, b1, b2 []float64
		for i := range scores {
			if s := scores[i][l]; s.n > 0 {
				g := s.reg
				b0 = append(b0, g[3]/g[0])
				det := g[0]*g[2] - g[1]*g[1]
				b1, b2 = append(b1, (g[3]*g[2]-g[4]*g[1])/det), append(b2, (g[4]*g[0]-g[3]*g[1])/det)
			}
		}
		t.Logf("   slope %.3f; two %.3f %.3f", median(b0), median(b1), median(b2))
		for k := range r {
			r[k] /= rd2[k]
		}
		t.Logf("   bias %.3f damped %.3f mse %.4f damped %.4f var %.4f", median(b), median(bd), median(r), median(rd2), median(sd))
		for k := range bins {
			bins[k] /= n
		}
		t.Logf("lead %2d, %d gauges: CRPS/mean flow model %.4f known air %.4f damped %.4f point %.4f climate %.4f | ratio damped %.3f climate %.3f | log %.4f ratio %.3f %.3f | inside %.3f below %.3f above %.3f damped inside %.3f bins %.3f",
			lead, len(model), median(model), median(known), median(damped), median(point), median(climate), median(rd), median(rc), median(lm), median(lrd), median(lrc), in/n, below/n, above/n, din/n, bins)
	}
}
