package watertemp

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// invented is a record of a river that follows the air, with weather, floods and
// noise of its own.
func invented(rng *rand.Rand, days int) Input {
	in := Input{Day0: 17000 + rng.IntN(400), Air: make([]float64, days), Water: make([]float64, days), Flow: make([]float64, days)}
	mean, swing, lag := 2+16*rng.Float64(), 3+14*rng.Float64(), 0.2+0.7*rng.Float64()
	weather, water, flow := 0.0, mean, 0.0
	for i := range days {
		weather = 0.7*weather + 2.5*rng.NormFloat64()
		flow = 0.93*flow + 0.2*rng.NormFloat64()
		in.Air[i] = mean - swing*math.Cos(angle(in.Day0+i)-0.4) + weather
		water += lag * (1 + 0.8*in.Air[i] - 0.5*flow - water)
		in.Water[i] = max(0, water+0.3*rng.NormFloat64())
		in.Flow[i] = 5 * math.Exp(flow-0.4*math.Cos(angle(in.Day0+i)-2))
	}
	return in
}

// spoil leaves gaps in a column and puts extremes in it.
func spoil(rng *rand.Rand, v []float64, extremes ...float64) {
	for range 1 + rng.IntN(6) {
		from := rng.IntN(len(v))
		for i := from; i < min(len(v), from+rng.IntN(120)); i++ {
			v[i] = math.NaN()
		}
	}
	for range 4 {
		v[rng.IntN(len(v))] = extremes[rng.IntN(len(extremes))]
	}
}

func wanted(t *testing.T, what string, rows ...[]float64) {
	t.Helper()
	for _, row := range rows {
		for d, w := range row {
			if math.IsNaN(w) || math.IsInf(w, 0) || w < 0 {
				t.Fatalf("%s: %v on day %d", what, w, d)
			}
		}
	}
}

// holds runs all that gives water temperatures on a record and wants every day
// known and none below 0 °C.
func holds(t *testing.T, m *Model, in Input, seed uint64) {
	t.Helper()
	wanted(t, "simulated", m.Simulate(in.Day0, in.Air, in.Flow, math.NaN()), m.Simulate(in.Day0, in.Air, in.Flow, 0))
	mean, sd := m.FillGaps(in)
	wanted(t, "gaps filled", mean, sd)
	ensemble := [][]float64{{-30, 10, math.NaN()}, {35, math.NaN(), 0}}
	rows := m.Forecast(in, ensemble, 40, 12, seed)
	if rows == nil {
		return
	}
	wanted(t, "members", rows...)
	ahead, spread := m.Expected(in, ensemble[0], []float64{0, 1e9, math.NaN()})
	wanted(t, "expected", ahead, spread)
}

func TestNoRiverFreezesBelowZeroOrIsUnknown(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 2))
	for k := range uint64(25) {
		in := invented(rng, 500+rng.IntN(500))
		spoil(rng, in.Air, -45, 48, math.Inf(1), math.Inf(-1))
		spoil(rng, in.Water, 0, 35)
		spoil(rng, in.Flow, 0, 1e5, -38800*0.0283, math.Inf(1))
		if k%3 == 0 {
			in.Flow = nil
		}
		m, err := Fit(in, Options{Seed: k, Starts: 2})
		if _, ok := errors.AsType[*TooLittleError](err); ok {
			continue
		} else if err != nil {
			t.Fatal(err)
		}
		holds(t, &m, in, k)
		lent, prior := Prior(&m), Prior(nil)
		in.Water = make([]float64, len(in.Air))
		for i := range in.Water {
			in.Water[i] = math.NaN()
		}
		holds(t, &lent, in, k)
		holds(t, &prior, in, k)
	}
}

// Any parameters, any weather: the exact step cannot ring or run away.
func FuzzStepStaysBetweenWhereItWasAndWhereItGoes(f *testing.F) {
	f.Add(uint64(1), 10.0, 0.0, 8.0)
	f.Add(uint64(7), -40.0, 5.0, 0.0)
	f.Add(uint64(9), 45.0, -4.0, 30.0)
	f.Fuzz(func(t *testing.T, seed uint64, air, logFlow, start float64) {
		if !(math.Abs(air) < 70) || !(math.Abs(logFlow) < 4) || !(start >= 0 && start < 60) {
			return
		}
		p := pooled.drawn(pooled.around(average), rand.New(rand.NewPCG(seed, 1)).NormFloat64, 2)
		k := p.rates(9)
		var r row
		mem := state{prev: air, fast: air, slow: air, verySlow: air}
		mem.day(&r, 9, air, logFlow, 0.6, 0.8)
		a := k.step(start, &r)
		b := k.step(a, &r)
		if math.IsNaN(a) || a < 0 || math.IsNaN(b) || b < 0 {
			t.Fatalf("%v, then %v °C", a, b)
		}
		if (a-start)*(b-a) < -1e-9 {
			t.Errorf("from %v to %v and back to %v °C in weather that stands still", start, a, b)
		}
	})
}

func TestTooShortARecordIsRefusedWithWhatIsMissing(t *testing.T) {
	year := invented(rand.New(rand.NewPCG(5, 5)), 300)
	month := invented(rand.New(rand.NewPCG(5, 6)), 1200)
	for i := range 1160 {
		month.Water[i] = math.NaN()
	}
	for _, x := range []struct {
		in         Input
		have, need int
		missing    string
	}{
		{year, 300 - warmup, WholeYear, "85 missing"}, // the first days only warm the model up
		{month, 40, MinDays, "20 missing"},
	} {
		_, err := Fit(x.in, Options{})
		var little *TooLittleError
		if !errors.As(err, &little) || !errors.As(Enough(x.in), &little) {
			t.Fatalf("%v", err)
		}
		if little.Need != x.need || little.Have != x.have {
			t.Errorf("%+v, want %d of %d", little, x.have, x.need)
		}
		if !strings.Contains(err.Error(), x.missing) {
			t.Errorf("%q does not say that %s", err, x.missing)
		}
	}
	if err := Enough(month.slice(0, 1200)); err == nil || Enough(invented(rand.New(rand.NewPCG(5, 7)), 400)) != nil {
		t.Errorf("enough: %v", err)
	}
}

// A gap is the less known the farther the readings on either side are, and its
// readings are left as they are.
func TestAGapIsLessKnownTowardsItsMiddle(t *testing.T) {
	in := invented(rand.New(rand.NewPCG(6, 6)), 900)
	m, err := Fit(in, Options{Seed: 1, Starts: 1})
	if err != nil {
		t.Fatal(err)
	}
	m.Error.Variance = year{1} // no season: it is the gap that is looked at
	from, to := 500, 560
	for i := from; i < to; i++ {
		in.Water[i] = math.NaN()
	}
	mean, sd := m.FillGaps(in)
	if sd[from-1] != 0 || mean[from-1] != in.Water[from-1] || sd[to] != 0 {
		t.Error("a reading was changed or doubted")
	}
	for i := from; i < from+29; i++ {
		if !(sd[i] > 0) || sd[i+1] < sd[i]-1e-9 {
			t.Fatalf("deviation %.3f on day %d of the gap, %.3f on the next", sd[i], i-from, sd[i+1])
		}
		if back := sd[to-1-(i-from)]; math.Abs(back-sd[i]) > 0.15*sd[i] {
			t.Errorf("deviation %.3f so far from the near end, %.3f from the far end", sd[i], back)
		}
	}
	if middle := sd[(from+to)/2]; middle > m.Error.SD*1.0001 || middle < 0.8*m.Error.SD {
		t.Errorf("deviation in the middle %.3f °C, of the model alone %.3f", middle, m.Error.SD)
	}
}

// Where weeks join, the day-to-day texture goes on: the step from the end of the
// ensemble to past weather is no larger than other steps.
func TestNoJumpShowsAtTheSeam(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	in := invented(rng, 3000)
	ensemble := make([][]float64, 30)
	for k := range ensemble {
		ensemble[k] = make([]float64, 16)
		off := 6 + 2*rng.NormFloat64() // far from any past season
		for d := range ensemble[k] {
			ensemble[k][d] = in.Air[len(in.Air)-365+d] + off + rng.NormFloat64()
		}
	}
	f, air := newFutures(in, ensemble, 90, 120, 3), make([][]float64, 120)
	for k := range air {
		air[k] = make([]float64, 90)
		f.next(air[k], nil)
	}
	step := func(d int) float64 {
		var s mean
		for _, row := range air {
			s.add((row[d] - row[d-1]) * (row[d] - row[d-1]))
		}
		return s.root()
	}
	var others mean
	for d := 40; d < 90; d++ {
		others.add(step(d))
	}
	if seam := step(16); seam > 1.4*others.of() {
		t.Errorf("steps at the seam are %.2f °C, others %.2f", seam, others.of())
	}
}

// What is read off a record's weather and flow does not depend on the unit of the flow
// but by its size, stays within bounds, and is the middle where the record is short.
func TestClimateOfARecord(t *testing.T) {
	in := invented(rand.New(rand.NewPCG(71, 1)), 1200)
	var m, feet, short, still Model
	m.fitDescriptors(in, m.localize(in))
	double := in
	double.Flow = slices.Clone(in.Flow)
	for i := range double.Flow {
		double.Flow[i] *= 35.3
	}
	feet.fitDescriptors(double, feet.localize(double))
	a, b := m.climate(), feet.climate()
	for i := range a {
		if i != cSize && math.Abs(a[i]-b[i]) > 1e-9 || math.Abs(a[i]) > 2.5 {
			t.Errorf("number %d is %v, %v in other units", i, a[i], b[i])
		}
	}
	if a[cChange] == 0 || a[cRecede] == 0 || a[cLow] == 0 || a[cHigh] == 0 || a[cFlowAir] == 0 || a[cUnrest] == 0 {
		t.Errorf("not told: %v", a)
	}
	part := in.slice(0, 200)
	short.fitDescriptors(part, short.localize(part))
	if c := short.climate(); c[cUnrest] != 0 || c[cChange] != 0 {
		t.Errorf("told from 200 days: %v", c)
	}
	spring := in
	spring.Flow = make([]float64, len(in.Air))
	for i := range spring.Flow {
		spring.Flow[i] = 2
	}
	still.fitDescriptors(spring, still.localize(spring))
	if c := still.climate(); c[cChange] != -2.5 || math.IsNaN(c[cRecede]) || math.IsNaN(c[cFlowAir]) {
		t.Errorf("flow that never changes: %v", c)
	}
}
