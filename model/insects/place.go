package insects

import "math"

// Place is what the prior of a date takes from a river.
type Place struct {
	LatDeg     float64 // north positive
	ElevationM float64 // above the sea; NaN if unknown
}

// Move is by how many days a prior date moves, later positive, and the standard
// deviation that it brings.
type Move struct{ Days, SDDays float64 }

// Hopkins's bioclimatic rule: in spring and early summer an event comes 4 days
// later for each degree of latitude towards the pole and for each 400 feet of
// height, in late summer and autumn as much earlier (A. D. Hopkins 1918, Monthly
// Weather Review Supplement 9; figures from memory). It was made for land plants
// and insects of the United States. For water insects it is a prior only. One
// comparison supports it: stoneflies of a Californian coast stream peaked about
// two months before those some 1,900 m higher (Bottorff & Bottorff 2007), 3.2
// days for 100 m beside the rule's 3.3.
const (
	daysPerDegree = 4.0
	daysPer100M   = 4.0 / 1.2192
)

// Our own defaults: the move is known to half of itself, and goes no farther
// than this.
const (
	moveDoubt    = 0.5
	farthestMove = 30.0
)

// MoveTo is how far the dates of one of the group's windows move from where the
// window comes from to a river. It is a prior: what the river's own water
// temperature or sightings say goes before it.
//
// Windows of one reach stay, since a reach stands for no region. So do land
// insects, whose adults hold their dates (no height slope in adult grasshoppers,
// Wachter 1995; very little in flying ants, Hart and others 2012-2014) and groups
// that are there all year. The day length that rules a group follows the latitude
// by itself, so of those only the height counts. Where the river's height is
// unknown nothing moves, because towards the equator trout rivers lie higher and
// the two moves cancel; the date is then less certain.
func (g *Group) MoveTo(w Window, p Place) Move {
	info, ok := regionTable[w.Region]
	if !ok || !w.Basis.Regional() || w.AllYear || g.EmergenceSite == OnLand || g.Kind == Continuous {
		return Move{}
	}
	perDegree, per100M := g.Slopes(w)
	if math.IsNaN(p.ElevationM) {
		return Move{SDDays: math.Min(farthestMove, math.Abs(per100M)*info.elevationSDM/100)}
	}
	north := perDegree * (math.Abs(p.LatDeg) - math.Abs(info.latDeg))
	up := per100M * (p.ElevationM - info.elevationM) / 100
	m := Move{Days: math.Min(math.Max(north+up, -farthestMove), farthestMove)}
	m.SDDays = math.Min(farthestMove, moveDoubt*math.Hypot(north, up))
	return m
}

// Slopes are by how many days the rule puts one of the group's windows later for a
// degree towards the pole and for 100 m of height.
func (g *Group) Slopes(w Window) (perDegree, per100M float64) {
	turn := seasonTurn(w)
	perDegree, per100M = turn*daysPerDegree, turn*daysPer100M
	if k := g.Photoperiod.Kind; k == "falling" || k == "rising" {
		perDegree = 0
	}
	return perDegree, per100M
}

// Place is about where a region's windows come from. Our own estimate.
func (r Region) Place() Place {
	info := regionTable[r]
	return Place{info.latDeg, info.elevationM}
}

// At is the window moved to a river.
func (g *Group) At(w Window, p Place) Window {
	m := g.MoveTo(w, p)
	n := int(math.Round(m.Days))
	w.Start, w.Median, w.End = w.Start+n, w.Median+n, w.End+n
	w.MedianSDDays = math.Hypot(w.MedianSDDays, m.SDDays)
	return w
}

// seasonTurn is 1 where colder means later, -1 where colder means earlier: spring
// and autumn of the rule. It turns about 1 August and, under the ice, about the
// middle of December; the dates of the turn are our own default.
func seasonTurn(w Window) float64 {
	day := float64(w.Median)
	if w.Region.Southern() {
		day += 182.5
	}
	day = math.Mod(day+365, 365)
	const summer, autumn, winter, spring = 172, 254, 319, 380 // 21 June, 11 September, 15 November, 15 January
	if day < spring-365 {
		day += 365
	}
	switch {
	case day <= summer:
		return 1
	case day < autumn:
		return 1 - 2*(day-summer)/(autumn-summer)
	case day <= winter:
		return -1
	case day < spring:
		return -1 + 2*(day-winter)/(spring-winter)
	}
	return 1
}
