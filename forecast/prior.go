package forecast

import (
	"math"

	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
)

// site is what a prior takes from a river.
type site struct {
	insects.Place
	warmth bool // the river's own water is known: a group ruled by it needs no move by latitude and height
}

// warms reports that the river's own warmth moves a group's dates.
func (s site) warms(p phenology.Params) bool { return s.warmth && p.DD50 > 0 && p.Weight > 0 }

func (w *water) place(rec Record, r River) site {
	s := site{Place: insects.Place{LatDeg: r.Lat, ElevationM: math.NaN()}, warmth: !math.IsNaN(w.climatology[0])}
	if e := rec.ElevationM; e != nil {
		s.ElevationM = *e
	}
	if e := r.ElevationM; e != nil {
		s.ElevationM = *e
	}
	return s
}

// paramsAt is the catalogue's prior of a region, moved to a river.
func paramsAt(g *insects.Group, region insects.Region, s site) (phenology.Params, bool) {
	p, ok := phenology.FromGroup(g, region)
	if !ok {
		return p, false
	}
	p = p.AtLatitude(s.LatDeg, g.Photoperiod, region)
	if s.warms(p) {
		return p, true
	}
	if x, ok := g.Window(region, insects.Emergence); ok {
		m := g.MoveTo(x, s.Place)
		p.MedianDOY, p.MedianSD = p.MedianDOY+m.Days, math.Hypot(p.MedianSD, m.SDDays)
	}
	return p, true
}

// atRiver returns a prior moved to the river's normal water temperature.
func (w *water) atRiver(p phenology.Params) phenology.Params {
	if math.IsNaN(w.climatology[0]) {
		return p
	}
	return p.AtRiver(w.climatology[:])
}
