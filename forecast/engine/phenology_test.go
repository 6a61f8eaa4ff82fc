package engine

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.org/eclose/model/phenology"
)

// The engine and model/phenology state one curve: for single members they must
// agree on shares, chances and windows.
func TestTheCurveIsThatOfTheParameters(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	for trial := range 40 {
		const days = 365
		water := make([]float64, days)
		temp := make([]float32, days)
		for d := range water {
			temp[d] = float32(math.Max(0, 8-7*math.Cos(2*math.Pi*float64(d-25)/365)+rng.NormFloat64()))
			water[d] = float64(temp[d])
		}
		p := phenology.Params{
			BaseC: 4 * rng.Float64(), UpperC: 15 + 10*rng.Float64(), BiofixDOY: 1 + rng.IntN(60), DD50: 100 + 700*rng.Float64(),
			MedianDOY: 100 + 150*rng.Float64(), SpreadDays: 3 + 12*rng.Float64(), Weight: rng.Float64(),
			LagMinDays: rng.IntN(5), LagMaxDays: 5 + rng.IntN(15), GateMinC: 5, GateMaxC: 18, PeakChance: 0.65,
		}
		if trial%4 == 0 {
			p.GateMinC, p.GateMaxC = math.Inf(-1), math.Inf(1)
		}
		in := River{Members: 1, Days: days, TempC: temp, Activity: true, Groups: []Group{{
			Clock: Clock{p.BaseC, p.UpperC, p.BiofixDOY - 1}, DD50: []float64{p.DD50}, Calendar: []float64{p.MedianDOY - 1},
			Weight: []float64{p.Weight}, SpreadDays: []float64{p.SpreadDays}, Gate: Gate{p.GateMinC, p.GateMaxC},
			LagMin: p.LagMinDays, LagMax: p.LagMaxDays, Rate: []float64{p.Rate()}, RateEggs: []float64{p.RateEggs()},
		}}}
		var e Engine
		var res Result
		if err := e.Forecast(&in, &res); err != nil {
			t.Fatal(err)
		}
		emergence, eggs := p.Activity(water)
		twinE, twinL := p.CalendarOnly().Activity(water)
		for s, want := range [][2][]float64{{emergence, twinE}, {eggs, twinL}} {
			rate := p.Rate()
			if Stage(s) == EggLaying {
				rate = p.RateEggs()
			}
			got := res.Groups[0][s]
			for d := range days {
				for _, c := range []struct {
					what      string
					got, want float64
				}{
					{"share", got.Activity[1][d], want[0][d]}, {"calendar share", got.ActivityCalendar[d], want[1][d]},
					{"chance", got.P[d], chance(rate, want[0][d])}, {"calendar chance", got.PCalendar[d], chance(rate, want[1][d])},
				} {
					if math.Abs(c.got-c.want) > 1e-5 {
						t.Fatalf("trial %d, stage %d, day %d: %s %.8f, by the parameters %.8f", trial, s, d, c.what, c.got, c.want)
					}
				}
			}
			if w, ok := windowOf(want[0]); ok && got.Window.Seen == 1 {
				for _, c := range [][2]float64{{float64(got.Window.Start.P50), w.Start}, {float64(got.Window.Peak.P50), w.Peak}, {float64(got.Window.End.P50), w.End}} {
					if c[1] < c[0]-0.01 || c[1] > c[0]+1.01 {
						t.Errorf("trial %d, stage %d: window on day %g, by the parameters %.2f", trial, s, c[0], c[1])
					}
				}
			}
		}
	}
}

// chance is that of a record in two hours on a day with that share of the season.
func chance(rate, share float64) float64 { return -math.Expm1(-rate * share) }

// windowOf is the window of daily shares, the share of a day spread evenly over
// it. It says false when nothing falls within the days.
func windowOf(share []float64) (phenology.Window, bool) {
	total := 0.0
	for _, a := range share {
		total += a
	}
	if !(total > 0) {
		return phenology.Window{}, false
	}
	var w phenology.Window
	sum := 0.0
	at := []*float64{&w.Start, &w.Peak, &w.End}
	for q, d := 0, 0; q < 3 && d < len(share); {
		target := []float64{0.1, 0.5, 0.9}[q] * total
		if share[d] > 0 && sum+share[d] >= target {
			*at[q] = float64(d) + (target-sum)/share[d]
			q++
			continue
		}
		sum += share[d]
		d++
	}
	return w, true
}
