package forecast

import (
	"math"
	"testing"

	"example.org/eclose/model/phenology"
)

// Five sightings in warmer water than the catalogue allows open the range to it; four do
// not, and blank sessions never do.
func TestSightingsInWarmerWaterWidenTheRange(t *testing.T) {
	rec := Record{Day0: date1(2025), Water: make([]float64, 365)}
	for d := range rec.Water {
		rec.Water[d] = 10 + float64(d)/20
	}
	ranges := func(n int, amount phenology.Amount) (low, high float64) {
		m := &timed{params: phenology.Params{GateMinC: 8, GateMaxC: 15}, watches: map[int][]phenology.Watch{}}
		for i := range n {
			day := float64(161 + i) // the 161st day: 18.0 °C
			m.watches[2025] = append(m.watches[2025], phenology.Watch{From: day, To: day + 1, Amount: amount})
		}
		(&timing{rec: rec}).widenGate(m)
		return m.params.GateMinC, m.params.GateMaxC
	}
	if low, high := ranges(5, phenology.Few); low != 8 || math.Abs(high-18.2) > 0.05 {
		t.Errorf("five sightings at 18 °C: %.2f to %.2f °C, want 8 to 18.2", low, high)
	}
	if _, high := ranges(4, phenology.Few); high != 15 {
		t.Errorf("four sightings widen the range to %.2f °C", high)
	}
	if _, high := ranges(9, phenology.None); high != 15 {
		t.Errorf("blank sessions widen the range to %.2f °C", high)
	}
}
