package degreeday

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

var waves = []Method{SingleTriangle, DoubleTriangle, SingleSine, DoubleSine}

func TestPropertiesOfTheWaves(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	for range 20000 {
		lower := rng.Float64()*15 - 2
		upper := lower + 2 + rng.Float64()*25
		lo := rng.Float64()*50 - 15
		hi := lo + rng.Float64()*25
		next := lo + rng.Float64()*10 - 5
		for _, m := range waves {
			h := Rule{Method: m, Cutoff: Horizontal, Lower: lower, Upper: upper}
			i, v := h, h
			i.Cutoff, v.Cutoff = Intermediate, Vertical
			H, I, V := h.Day(lo, hi, next), i.Day(lo, hi, next), v.Day(lo, hi, next)
			const eps = 1e-9
			if !(V >= 0 && V <= I+eps && I <= H+eps && H <= upper-lower+eps) {
				t.Fatalf("%v %g/%g/%g in %g-%g: vertical %g, intermediate %g, horizontal %g", m, lo, hi, next, lower, upper, V, I, H)
			}
			if d := h.Day(lo, hi+0.5, next) - H; d < -eps {
				t.Fatalf("%v: a warmer maximum counts %g less", m, -d)
			}
			if d := h.Day(lo-0.5, hi, next) - H; d > eps {
				t.Fatalf("%v: a colder minimum counts %g more", m, d)
			}
			f := Rule{Method: m, Cutoff: Intermediate, Lower: lower*1.8 + 32, Upper: upper*1.8 + 32, Unit: Fahrenheit}
			if F := f.Day(lo*1.8+32, hi*1.8+32, next*1.8+32); math.Abs(F-1.8*I) > 1e-7 {
				t.Fatalf("%v: %g in °F, 9/5 of %g in °C wanted", m, F, I)
			}
		}
		for single, double := range map[Method]Method{SingleSine: DoubleSine, SingleTriangle: DoubleTriangle} {
			a := Rule{Method: single, Lower: lower, Upper: upper}.Day(lo, hi, next)
			b := Rule{Method: double, Lower: lower, Upper: upper}.Day(lo, hi, lo)
			if math.Abs(a-b) > 1e-9 {
				t.Fatalf("%v %g, %v %g with equal minima", single, a, double, b)
			}
		}
	}
}

func TestNoJumpAtTheThresholds(t *testing.T) {
	const lower, upper, eps = 10.0, 26.0, 1e-9
	for _, m := range waves {
		for _, c := range []Cutoff{Horizontal, Intermediate, Vertical} {
			r := Rule{Method: m, Cutoff: c, Lower: lower, Upper: upper}
			for _, p := range [][2]float64{{2, lower}, {lower, 20}, {lower, upper}, {12, upper}, {4, upper}, {4, 20}} {
				for _, d := range [][2]float64{{eps, 0}, {-eps, 0}, {0, eps}, {0, -eps}} {
					a, b := r.Day(p[0], p[1], p[0]), r.Day(p[0]+d[0], p[1]+d[1], p[0]+d[0])
					// The vertical cut-off and the asin have an infinite slope
					// at the crest: a root of eps is all that continuity gives.
					if math.Abs(a-b) > 1e-3 {
						t.Errorf("%v %v at %v: %g and %g", m, c, p, a, b)
					}
				}
			}
		}
	}
}

func TestMissingAndUpsideDownDaysAreNaN(t *testing.T) {
	r := Rule{Method: DoubleSine, Lower: 5, Upper: 30}
	for _, d := range [][3]float64{{math.NaN(), 10, 5}, {5, math.NaN(), 5}, {5, 10, math.NaN()}, {11, 10, 5}} {
		if got := r.Day(d[0], d[1], d[2]); !math.IsNaN(got) {
			t.Errorf("%v: %g", d, got)
		}
	}
	got, err := r.Days([]float64{4, math.NaN(), 6}, []float64{12, 13, 14})
	if err != nil || math.IsNaN(got[0]) || !math.IsNaN(got[1]) || math.IsNaN(got[2]) {
		t.Errorf("a gap must cost its own day only: %v, %v", got, err)
	}
}

func TestRulesThatCannotBeAreRefused(t *testing.T) {
	for want, r := range map[string]Rule{
		"not above":       {Method: SingleSine, Lower: 10, Upper: 10},
		"no temperature":  {Method: SingleSine, Lower: math.NaN(), Upper: 10},
		"only the horiz":  {Method: Huber, Cutoff: Vertical, Lower: 1, Upper: 2},
		"knows only":      {Method: AverageMean, Cutoff: Intermediate, Lower: 1, Upper: 2},
		"unknown method":  {Method: 77, Lower: 1, Upper: 2},
		"unknown cut-off": {Method: SingleSine, Cutoff: 9, Lower: 1, Upper: 2},
	} {
		if err := r.Validate(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", r, err, want)
		}
	}
	if _, err := ParseMethod("cosine"); err == nil || !strings.Contains(err.Error(), "single-sine") {
		t.Errorf("an unknown method must list the known ones: %v", err)
	}
	for _, n := range methodNames {
		if m, err := ParseMethod(n); err != nil || m.String() != n {
			t.Errorf("%s: %v %v", n, m, err)
		}
	}
	for _, c := range []Cutoff{Horizontal, Intermediate, Vertical} {
		if got, err := ParseCutoff(c.String()); err != nil || got != c {
			t.Errorf("%v: %v %v", c, got, err)
		}
	}
}

// A triangle drawn through readings must come back as the triangle method.
func TestExactIntegrationOfATriangleIsTheTriangle(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 2000 {
		lo := rng.Float64()*30 - 8
		hi := lo + 0.1 + rng.Float64()*20
		next := min(hi, lo+rng.Float64()*8-4)
		for _, c := range []Cutoff{Horizontal, Intermediate, Vertical} {
			r := Rule{Method: DoubleTriangle, Cutoff: c, Lower: 8, Upper: 20}
			got, err := r.Exact([]float64{0, 12, 24}, []float64{lo, hi, next}, 12)
			if err != nil || math.Abs(got-r.Day(lo, hi, next)) > 1e-9 {
				t.Fatalf("%g/%g/%g %v: %g, want %g (%v)", lo, hi, next, c, got, r.Day(lo, hi, next), err)
			}
		}
	}
}

// A sine sampled every minute must come back as the single sine method.
func TestExactIntegrationOfASineIsTheSine(t *testing.T) {
	var h, c []float64
	for m := 0; m <= 1440; m++ {
		h = append(h, float64(m)/60)
		c = append(c, 14-8*math.Cos(2*math.Pi*float64(m)/1440))
	}
	for _, cut := range []Cutoff{Horizontal, Intermediate, Vertical} {
		r := Rule{Method: SingleSine, Cutoff: cut, Lower: 10, Upper: 18}
		got, err := r.Exact(h, c, 1)
		if want := r.Day(6, 22, 6); err != nil || math.Abs(got-want) > 1e-4 {
			t.Errorf("%v: %.6f, want %.6f (%v)", cut, got, want, err)
		}
	}
}

func TestExactDaysCutAtMidnightAndLeaveGapsOut(t *testing.T) {
	var h, c []float64
	for x := 0.5; x < 24*4; x++ { // readings at half past
		if x > 50 && x < 60 {
			continue // a hole in the third day
		}
		h, c = append(h, x), append(c, 10+x/24)
	}
	r := Rule{Method: SingleSine, Lower: 0, Upper: math.Inf(1)}
	got, err := r.ExactDays(h, c, 0, 4, 2)
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(got[0]) || !math.IsNaN(got[2]) || !math.IsNaN(got[3]) {
		t.Errorf("days not covered must be NaN: %v", got)
	}
	if math.Abs(got[1]-11.5) > 1e-9 {
		t.Errorf("second day %g, want 11.5", got[1])
	}
	if _, err := r.Exact(h, c, 2); err == nil || !strings.Contains(err.Error(), "hours without a reading") {
		t.Errorf("a hole must be told: %v", err)
	}
	for _, bad := range [][2][]float64{
		{{0, 1}, {5}}, {{0}, {5}}, {{0, 0}, {5, 5}}, {{1, 0}, {5, 5}}, {{0, 1}, {5, math.NaN()}},
	} {
		if _, err := r.Exact(bad[0], bad[1], 24); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}

func TestRunningSumIsTheSumOfTheDays(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	mean := make([]float64, 400)
	for i := range mean {
		mean[i] = rng.Float64()*30 - 5
	}
	got := make([]float64, len(mean))
	RunningSum(got, mean, 4, 20)
	total := 0.0
	for i, m := range mean {
		total += Rule{Method: AverageClampMean, Lower: 4, Upper: 20}.Day(m, m, m)
		if math.Abs(got[i]-total) > 1e-9 {
			t.Fatalf("day %d: %g, want %g", i, got[i], total)
		}
	}
	if n := testing.AllocsPerRun(10, func() { RunningSum(got, mean, 4, 20) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}
