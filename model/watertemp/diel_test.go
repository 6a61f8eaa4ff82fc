package watertemp

import (
	"math"
	"math/rand/v2"
	"testing"
)

// invented days whose warmest hour lies above the mean by a wave of the year and
// some noise.
func swings(days int) (mean, top []float64) {
	rng := rand.New(rand.NewPCG(4, 4))
	mean, top = make([]float64, days), make([]float64, days)
	for i := range mean {
		c := math.Cos(angle(i))
		mean[i] = 10 - 8*c
		top[i] = mean[i] + math.Max(0, 2.5-1.5*c+0.6*rng.NormFloat64())
	}
	return mean, top
}

func TestTheSwingOfTheDayIsLearnt(t *testing.T) {
	mean, top := swings(1500)
	d := FitDiel(0, mean, top)
	summer, sd := d.Above(196)
	winter, _ := d.Above(15)
	if math.Abs(summer-4) > 0.15 || math.Abs(winter-1) > 0.15 || math.Abs(sd-0.6) > 0.05 {
		t.Errorf("summer %.2f, winter %.2f, deviation %.2f °C; put in were 4, 1 and 0.6", summer, winter, sd)
	}
	if d := FitDiel(0, mean[:40], top[:40]); d.Days != 0 {
		t.Error("forty days were taken for a year")
	}
}

// The share of days above a line is the chance that was given for them.
func TestChancesOfWarmWaterComeTrue(t *testing.T) {
	mean, top := swings(4000)
	d := FitDiel(0, mean[:2000], top[:2000])
	for _, line := range []float64{15, 18, 20, 22} {
		var said, came float64
		for i := 2000; i < 4000; i++ {
			said += d.ChanceAbove(i, mean[i:i+1], line)
			if top[i] > line {
				came++
			}
		}
		if math.Abs(said-came) > 2*math.Sqrt(came)+2 {
			t.Errorf("above %.0f °C: %.0f days were expected, %.0f came", line, said, came)
		}
	}
}

func TestTopAndHours(t *testing.T) {
	mean, top := swings(1500)
	d := FitDiel(0, mean, top)
	means := []float64{14, 15, 16, 17}
	for _, p := range []float64{0.1, 0.5, 0.9} {
		x := d.Top(196, means, p)
		if got := d.ChanceAbove(196, means, x); math.Abs(got-(1-p)) > 1e-3 {
			t.Errorf("above the %v point the chance is %v", p, got)
		}
	}
	for _, c := range []struct{ mean, up, line, want float64 }{{15, 3, 15, 12}, {15, 3, 18, 0}, {15, 3, 12, 24}, {15, 3, 16.5, 8}, {15, 0, 16, 0}, {15, 0, 14, 24}} {
		if got := HoursAbove(c.mean, c.up, c.line); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("mean %v, swing %v, line %v: %v hours, want %v", c.mean, c.up, c.line, got, c.want)
		}
	}
}
