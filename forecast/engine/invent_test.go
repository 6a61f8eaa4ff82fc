package engine

import (
	"math"
	"math/rand/v2"
)

// invent makes an invented river: a yearly wave of water temperature with
// weather on it that is common to all members until day issued and goes its own
// way after.
func invent(seed uint64, members, days, groups, issued int) *River {
	rng := rand.New(rand.NewPCG(seed, 0x656e67))
	r := &River{Members: members, Days: days, TempC: make([]float32, members*days)}
	mean, amplitude := 7+4*rng.Float64(), 4+4*rng.Float64()
	known := make([]float64, issued)
	var ar float64
	for d := range known {
		ar = 0.85*ar + 0.7*rng.NormFloat64()
		known[d] = ar
	}
	for m := range members {
		ar := 0.
		for d := range days {
			if d < issued {
				ar = known[d]
			} else {
				ar = 0.85*ar + 0.7*rng.NormFloat64()
			}
			season := mean - amplitude*math.Cos(2*math.Pi*(float64(d)-25)/365)
			r.TempC[m*days+d] = float32(math.Max(season+ar, 0))
		}
	}
	clocks := []Clock{{0, math.Inf(1), 0}, {4, 22, 0}, {4, math.Inf(1), 0}, {3, 24, 0}, {10, math.Inf(1), 0}, {0, 22, 59}}
	weights := []float64{0.5, 0.7, 0.1, 0, 0.6, 0.3, 1}
	for k := range groups {
		c := clocks[k%len(clocks)]
		middle := 70 + 130*rng.Float64() // of the calendar
		var need float64
		for d := c.Start; d < int(middle) && d < days; d++ {
			season := mean - amplitude*math.Cos(2*math.Pi*(float64(d)-25)/365)
			need += math.Min(math.Max(season, c.BaseC), c.UpperC) - c.BaseC
		}
		need = math.Max(need, 20)
		spread := 4 + 10*rng.Float64()
		w := weights[k%len(weights)]
		lag := rng.IntN(6)
		g := Group{Clock: c, LagMin: lag, LagMax: lag + rng.IntN(10), Gate: Gate{math.Inf(-1), math.Inf(1)}}
		if k%3 != 2 {
			g.Gate = Gate{4 + 4*rng.Float64(), 16 + 5*rng.Float64()}
		}
		for range members {
			g.DD50 = append(g.DD50, need*math.Exp(0.2*rng.NormFloat64()))
			g.Calendar = append(g.Calendar, middle+8*rng.NormFloat64())
			g.Weight = append(g.Weight, math.Min(math.Max(w+0.15*rng.NormFloat64(), 0), 1))
			g.SpreadDays = append(g.SpreadDays, spread*math.Exp(0.15*rng.NormFloat64()))
			g.Rate = append(g.Rate, 1.05*spread*math.Sqrt(2*math.Pi)*math.Exp(0.8*rng.NormFloat64()))
		}
		g.RateEggs = g.Rate
		r.Groups = append(r.Groups, g)
	}
	return r
}
