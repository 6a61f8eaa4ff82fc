package forecast

import (
	"math"
	"slices"

	"example.org/eclose/forecast/verify"
	"example.org/eclose/model/phenology"
)

// A gate is widened by at least so many sightings, and then holds the water of all of
// them but for this share at each end. Our own defaults; see cmd/eclose/RESULTS.md for
// what the rule is worth on invented seasons.
const (
	gateSightings = 5
	gateLeftOut   = 0.02
)

// widenGate opens the catalogue's range of water in which a group emerges to the water in
// which it was seen at this river. Without that, numbers learnt from sightings would be
// cut a second time by a range that those very sightings refute. Blank sessions narrow
// nothing: an insect may be missing for many reasons.
func (t *timing) widenGate(m *timed) {
	var seen []float64
	for season, watches := range m.watches {
		for _, w := range watches {
			if w.Amount == phenology.None {
				continue
			}
			day := w.From
			if w.Stage == phenology.EggLaying { // they emerged some days earlier
				day -= float64(m.params.LagMinDays+m.params.LagMaxDays) / 2
			}
			if c := t.waterOn(date1(season) + Date(math.Round(day)) - 1); !math.IsNaN(c) {
				seen = append(seen, c)
			}
		}
	}
	if len(seen) < gateSightings {
		return
	}
	slices.Sort(seen)
	m.params.GateMinC = min(m.params.GateMinC, verify.QuantileOfSorted(seen, gateLeftOut))
	m.params.GateMaxC = max(m.params.GateMaxC, verify.QuantileOfSorted(seen, 1-gateLeftOut))
}

// waterOn is the daily mean of a past day, °C: as measured, else the climatology.
func (t *timing) waterOn(d Date) float64 {
	if k := int(d - t.rec.Day0); k >= 0 && k < len(t.rec.Water) && !math.IsNaN(t.rec.Water[k]) {
		return t.rec.Water[k]
	}
	return t.water.climatology[dayOfYear(d)]
}
