package degreeday

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
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
	for _, n := range Methods() {
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
	for _, target := range []float64{0, 1, 100, total, total + 1} {
		day, ok := Reach(mean, 0, 4, 20, target)
		if ok != (target <= total+1e-9) || ok && (got[day] < target-1e-9 || day > 0 && got[day-1] >= target) {
			t.Errorf("target %g: day %d %t", target, day, ok)
		}
	}
	if n := testing.AllocsPerRun(10, func() { RunningSum(got, mean, 4, 20) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func TestBiofixes(t *testing.T) {
	first := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	// Ice to day 40, a warm spell, ice again on day 60, then steady warming.
	mean := make([]float64, 365)
	for i := range mean {
		switch {
		case i < 40 || i == 60:
			mean[i] = 0
		case i < 60:
			mean[i] = 2
		default:
			mean[i] = float64(i-60) * 0.1
		}
	}
	mean[100] = math.NaN()
	s := Season{First: first, MeanC: mean, LatDeg: 45}
	iceFree := Season{First: first, MeanC: []float64{4, 4, 4, 4, 4}, LatDeg: 45}
	for _, tc := range []struct {
		what string
		b    Biofix
		s    Season
		want Start
		ok   bool
	}{
		{"1 January", OnDate{time.January, 1}, s, Start{0, 0}, true},
		{"1 March", OnDate{time.March, 1}, s, Start{59, 59}, true},
		{"1 March of a short season", OnDate{time.March, 1}, iceFree, Start{}, false},
		{"29 February in an ordinary year is 1 March", OnDate{time.February, 29}, s, Start{59, 59}, true},
		{"five days at 2 °C", Crossing{AtLeastC: 2, Days: 5}, s, Start{40, 44}, true},
		{"three days at 4 °C, broken by a missing day", Crossing{AtLeastC: 3.9, Days: 3}, s, Start{101, 103}, true},
		{"the same from April on", Crossing{AtLeastC: 2, Days: 5, From: time.April}, s, Start{90, 94}, true},
		{"never so warm", Crossing{AtLeastC: 99, Days: 1}, s, Start{}, false},
		{"ice-off is after the last freeze", IceOff{IceC: 0.2, Days: 5}, s, Start{63, 67}, true},
		{"no ice, no ice-off", IceOff{IceC: 0.2, Days: 2}, iceFree, Start{}, false},
		{"days of twelve hours, rising", OnDaylength{Hours: 12}, s, Start{75, 75}, true},
		{"days of twelve hours, falling", OnDaylength{Hours: 12, Falling: true}, s, Start{268, 268}, true},
		{"days of twenty hours at 45 degrees", OnDaylength{Hours: 20}, s, Start{}, false},
	} {
		got, ok := tc.b.Start(tc.s)
		if got != tc.want || ok != tc.ok {
			t.Errorf("%s: %+v %t, want %+v %t", tc.what, got, ok, tc.want, tc.ok)
		}
	}
}

func FuzzDayIsFiniteOrMissing(f *testing.F) {
	f.Add(5.0, 20.0, 4.0, 10.0, 26.0, uint8(5), uint8(1))
	f.Add(0.0, 0.0, 0.0, 0.0, 1.0, uint8(7), uint8(2))
	f.Fuzz(func(t *testing.T, lo, hi, next, lower, upper float64, m, c uint8) {
		r := Rule{Method: Method(m % 9), Cutoff: Cutoff(c % 3), Lower: lower, Upper: upper}
		if r.Validate() != nil {
			return
		}
		for _, v := range []float64{lo, hi, next, lower} {
			if math.Abs(v) > 1e6 {
				return
			}
		}
		got := r.Day(lo, hi, next)
		if lo <= hi && !(got >= -1e-6 && got <= 2e6) {
			t.Fatalf("%+v %g/%g/%g: %g", r, lo, hi, next, got)
		}
	})
}

// benchYears is ten years of daily means and extremes: 38 % of days cross the
// lower and 18 % the upper threshold.
func benchYears() (tmin, tmax, mean []float64) {
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range 3650 {
		m := 12 - 11*math.Cos(2*math.Pi*float64(i)/365) + rng.NormFloat64()*3
		a := 3 + rng.Float64()*4
		tmin, tmax, mean = append(tmin, m-a), append(tmax, m+a), append(mean, m)
	}
	return tmin, tmax, mean
}

func BenchmarkSingleSineTenYears(b *testing.B) {
	tmin, tmax, _ := benchYears()
	r := Rule{Method: SingleSine, Lower: 4, Upper: 26}
	b.SetBytes(int64(len(tmin)) * 16)
	for b.Loop() {
		sum := 0.0
		for i := range tmin {
			sum += r.Day(tmin[i], tmax[i], tmin[i])
		}
		if sum < 0 {
			b.Fatal(sum)
		}
	}
	b.ReportMetric(float64(len(tmin))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mdays/s")
}

func BenchmarkRunningSumTenYears(b *testing.B) {
	_, _, mean := benchYears()
	dst := make([]float64, len(mean))
	b.ReportAllocs()
	for b.Loop() {
		RunningSum(dst, mean, 4, 26)
	}
	b.ReportMetric(float64(len(mean))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mdays/s")
}

// The naive way: a rule per day, an appended slice.
func BenchmarkRunningSumNaiveTenYears(b *testing.B) {
	_, _, mean := benchYears()
	b.ReportAllocs()
	for b.Loop() {
		var dst []float64
		total := 0.0
		for _, m := range mean {
			total += Rule{Method: AverageClampMean, Lower: 4, Upper: 26}.Day(m, m, m)
			dst = append(dst, total)
		}
		if len(dst) == 0 {
			b.Fatal("nothing")
		}
	}
	b.ReportMetric(float64(len(mean))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mdays/s")
}
