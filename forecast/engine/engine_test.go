package engine

import (
	"math"
	"testing"
)

func TestTablesAreGoodToTwelveDigits(t *testing.T) {
	var worst float64
	for z := -7.9; z < 7.9; z += 0.000317 {
		worst = math.Max(worst, math.Abs(phi(z)-0.5*math.Erfc(-z/math.Sqrt2)))
	}
	if worst > 5e-13 {
		t.Errorf("phi is off by up to %.2g", worst)
	}
	worst = 0
	for y := 0.0; y <= expMax; y += 0.00113 {
		worst = math.Max(worst, math.Abs(record(y)+math.Expm1(-y)))
	}
	if worst > 1e-11 {
		t.Errorf("record is off by up to %.2g", worst)
	}
}

func compare(t *testing.T, got, want []GroupResult, tol float64) {
	t.Helper()
	for k := range want {
		for s := range want[k] {
			g, w := got[k][s], want[k][s]
			for d := range w.P {
				if !(math.Abs(g.P[d]-w.P[d]) <= tol) || !(math.Abs(g.PCalendar[d]-w.PCalendar[d]) <= tol) {
					t.Fatalf("group %d, stage %d, day %d: %v and %v, want %v and %v", k, s, d, g.P[d], g.PCalendar[d], w.P[d], w.PCalendar[d])
				}
			}
			if g.Window != w.Window || g.WindowCalendar != w.WindowCalendar {
				t.Errorf("group %d, stage %d: windows %+v and %+v, want %+v and %+v", k, s, g.Window, g.WindowCalendar, w.Window, w.WindowCalendar)
			}
		}
	}
}

func TestTheEngineComputesWhatIsWritten(t *testing.T) {
	var e Engine
	var out Result
	for seed := range uint64(6) {
		in := invent(seed, 23+int(seed), 120+30*int(seed), 14, 100)
		if err := e.Forecast(in, &out); err != nil {
			t.Fatal(err)
		}
		compare(t, out.Groups, reference(in), 1e-9)
	}
}
func BenchmarkRiver(b *testing.B) {
	in := invent(1, 200, 240, 40, 120)
	var e Engine
	var out Result
	b.ReportAllocs()
	for b.Loop() {
		if err := e.Forecast(in, &out); err != nil {
			b.Fatal(err)
		}
	}
}
