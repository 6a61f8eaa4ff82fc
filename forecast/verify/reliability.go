package verify

import (
	"math"
	"math/rand/v2"
	"slices"
)

// ReliabilityPoint is one point of a reliability diagram: forecasts near P came
// true with Frequency, and an honest forecaster's frequency would lie within
// Low..High with the level asked for.
type ReliabilityPoint struct {
	Bin
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Reliability gives consistency bars by resampling: forecasts are drawn with
// replacement, outcomes are invented as if the forecasts were honest, and the
// binned frequencies of draws such sets give the limits. A bar is NaN where no
// draw had a forecast in the bin. Source: Broecker & Smith 2007, Wea.
// Forecasting 22, 651-661.
func Reliability(p []float64, y []bool, edges []float64, level float64, draws int, seed uint64) []ReliabilityPoint {
	observed := Binned(p, y, edges)
	rng := rand.New(rand.NewPCG(seed, 0x72656c69))
	n := len(edges) - 1
	freq := make([][]float64, n)
	at := func(v float64) int {
		i, found := slices.BinarySearch(edges, v)
		if !found {
			i--
		}
		return min(max(i, 0), n-1)
	}
	count, events := make([]int, n), make([]int, n)
	for range draws {
		clear(count)
		clear(events)
		for range p {
			v := p[rng.IntN(len(p))]
			k := at(v)
			count[k]++
			if rng.Float64() < v {
				events[k]++
			}
		}
		for k, c := range count {
			if c > 0 {
				freq[k] = append(freq[k], float64(events[k])/float64(c))
			}
		}
	}
	out := make([]ReliabilityPoint, len(observed))
	for i, b := range observed {
		f := freq[at(b.P)]
		out[i] = ReliabilityPoint{b, math.NaN(), math.NaN()}
		if len(f) > 0 {
			slices.Sort(f)
			out[i].Low, out[i].High = QuantileOfSorted(f, (1-level)/2), QuantileOfSorted(f, (1+level)/2)
		}
	}
	return out
}
