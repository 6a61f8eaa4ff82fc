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
		worst = math.Max(worst, math.Abs(atLeastOne(y)+math.Expm1(-y)))
	}
	if worst > 1e-11 {
		t.Errorf("record is off by up to %.2g", worst)
	}
}

func TestTheEngineComputesWhatIsWritten(t *testing.T) {
	var e Engine
	var out Result
	for seed := range uint64(6) {
		in := invent(seed, 23+int(seed), 120+30*int(seed), 14, 100)
		in.Activity = seed%2 == 1
		in.Groups[5].Least = 1 + int(seed)
		if err := e.Forecast(in, &out); err != nil {
			t.Fatal(err)
		}
		want := reference(in)
		near(t, out.Groups, want, 1e-9)
		if !in.Activity {
			continue
		}
		for k := range want {
			for s := range want[k] {
				for d := range in.Days {
					got, w := out.Groups[k][s], want[k][s]
					if math.Abs(got.ActivityCalendar[d]-w.ActivityCalendar[d]) > 1e-9 {
						t.Fatalf("group %d, stage %d, day %d: activity by the calendar %v, want %v", k, s, d, got.ActivityCalendar[d], w.ActivityCalendar[d])
					}
					for q := range w.Activity {
						if math.Abs(got.Activity[q][d]-w.Activity[q][d]) > 1e-9 {
							t.Fatalf("group %d, stage %d, day %d: activity %v, want %v", k, s, d, got.Activity[q][d], w.Activity[q][d])
						}
					}
				}
			}
		}
	}
}

func TestSharesOfADayBothWays(t *testing.T) {
	for _, sigma := range []float64{0.5, 1, 3.9, 4, 5.5, 9, 20, 60} {
		n := int(2 * Reach * sigma)
		share := make([]float64, n)
		for _, z := range []float64{-Reach, -Reach + 0.3/sigma, -2} {
			fill := smooth
			if sigma < smoothSpread {
				fill = steep
				share = share[:min(n, int((Reach-z)*sigma)+1)]
			}
			fill(share, z, 1/sigma)
			for i, got := range share {
				a := z + float64(i)/sigma
				want := 0.5 * (math.Erfc(-(a+1/sigma)/math.Sqrt2) - math.Erfc(-a/math.Sqrt2))
				if math.Abs(got-want) > 3e-12 {
					t.Fatalf("spread %v, day %d: %v, want %v (off by %.2g)", sigma, i, got, want, got-want)
				}
			}
		}
	}
}

// BenchmarkRiver is one river of 200 members, 240 days and 40 groups, without and
// with the spread of activity over members.
func BenchmarkRiver(b *testing.B) {
	in := invent(1, 200, 240, 40, 120)
	for name, activity := range map[string]bool{"chances": false, "with-activity": true} {
		in.Activity = activity
		b.Run(name, func(b *testing.B) {
			var e Engine
			var out Result
			b.ReportAllocs()
			for b.Loop() {
				e.calendars = nil
				if err := e.Forecast(in, &out); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
