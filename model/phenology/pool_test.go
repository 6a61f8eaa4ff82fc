package phenology

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Rivers are drawn about a group, each is seen once with error, and the prior of
// the next river must be the better for it and cover it.
func TestOtherRiversTeachTheNextOne(t *testing.T) {
	p := inventGroup()
	p.WeightSD = 0
	const runs, rivers = 400, 4
	var pooled, alone float64
	in := 0
	for run := range runs {
		rng := rand.New(rand.NewPCG(uint64(run), 21))
		group := math.Sqrt(1-betweenRivers) * rng.NormFloat64()
		river := func() float64 { return group + math.Sqrt(betweenRivers)*rng.NormFloat64() }
		var seen []Params
		for range rivers {
			// Bayes' rule for one look with half the prior's standard deviation.
			const look = 0.5
			y := river() + look*rng.NormFloat64()
			prec := 1 + 1/(look*look)
			q := p
			q.MedianDOY = p.MedianDOY + p.MedianSD*y/(look*look)/prec
			q.MedianSD = p.MedianSD / math.Sqrt(prec)
			q.Measured = true
			seen = append(seen, q)
		}
		next := p.MedianDOY + p.MedianSD*river()
		got := p.Pooled(seen)
		pooled += (got.MedianDOY - next) * (got.MedianDOY - next)
		alone += (p.MedianDOY - next) * (p.MedianDOY - next)
		if math.Abs(got.MedianDOY-next) < z90*got.MedianSD {
			in++
		}
		if got.DD50 != p.DD50 || got.DD50CV != p.DD50CV || got.SpreadCV != p.SpreadCV {
			t.Fatal("figures moved of which nothing was learnt")
		}
	}
	if r := math.Sqrt(pooled / alone); r > 0.88 {
		t.Errorf("error %.2f of that without other rivers", r)
	}
	if c := float64(in) / runs; math.Abs(c-0.8) > 0.066 { // 3.3 standard errors
		t.Errorf("80 %% intervals cover %.1f %%", 100*c)
	}
}

func TestNoOtherRiversLeaveThePriorAlone(t *testing.T) {
	p := inventGroup()
	q := p.Pooled(nil)
	if math.Abs(q.DD50-p.DD50) > 1e-9 || math.Abs(q.MedianSD-p.MedianSD) > 1e-9 || math.Abs(q.WeightSD-p.WeightSD) > 1e-9 || math.Abs(q.Weight-p.Weight) > 1e-9 {
		t.Errorf("%+v", q)
	}
}
