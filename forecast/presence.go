package forecast

import (
	"math"
	"slices"

	"example.org/eclose/model/insects"
)

// waterKind is what the record tells of the water that insects find in a river.
type waterKind struct {
	known     bool // there is enough of a record to tell
	springFed bool // much of the water comes out of the ground
	regulated bool // below a dam
}

// Bounds of the regression of water on air. A river that follows the air by less than
// springSlope is taken for spring-fed: in published regressions of weekly means most
// rivers lie between 0.6 and 1.0 and groundwater-fed ones below (Mohseni and Stefan
// 1999, Journal of Hydrology; O'Driscoll and DeWalle 2006, Journal of Hydrology; both
// cited from memory). The limit and the days needed are our own defaults.
const (
	springSlope = 0.7
	kindDays    = 300
)

func (rec Record) waterKind(regulated bool) waterKind {
	k := waterKind{regulated: regulated}
	slope, days := slopeOnAir(rec.Air, rec.Water)
	k.known = days >= kindDays
	k.springFed = k.known && slope < springSlope
	return k
}

// slopeOnAir is the slope of weekly mean water on weekly mean air above freezing, both
// °C, and how many days of both there are.
func slopeOnAir(air, water []float64) (slope float64, days int) {
	var n, sx, sy, sxx, sxy float64
	for w := 0; w+7 <= min(len(air), len(water)); w += 7 {
		x, y := 0.0, 0.0
		for i := w; i < w+7; i++ {
			x, y = x+air[i]/7, y+water[i]/7
		}
		if math.IsNaN(x) || math.IsNaN(y) {
			continue
		}
		days += 7
		if x > 0 {
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
		}
	}
	if d := n*sxx - sx*sx; d > 0 {
		slope = (n*sxy - sx*sy) / d
	}
	return slope, days
}

// elsewhere reports whether a group lives in other kinds of water. Where the record
// cannot tell, it does not. Habitats are common practice, no source.
func (k waterKind) elsewhere(h insects.Habitat) bool {
	switch h {
	case insects.Still:
		return true
	case insects.SpringCreek, insects.Tailwater: // both are cold in summer and even in flow
		return k.known && !k.springFed && !k.regulated
	default:
		return false
	}
}

// seenHere reports whether a group, or its parent, was seen at the river before the issue.
func (rec Record) seenHere(r River, g *insects.Group, sightings []Sighting) bool {
	return slices.ContainsFunc(rec.known(sightings), func(s Sighting) bool {
		return s.River == r.Slug && s.Seen() && (s.Group == g.Key || g.ParentKey != "" && s.Group == g.ParentKey)
	})
}
