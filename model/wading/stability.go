package wading

import "math"

// Limits on section-mean depth times velocity with margin, m2/s: where the
// levels begin. Our own default, drawn from the sources in Bases: 0.4 is where a
// strong adult stands on a poor bed (Karvonen et al. 2000), 0.8 the working limit
// of trained staff (Cox et al. 2010).
const (
	CareDV      = 0.4
	BetterNotDV = 0.6
	KeepOutDV   = 0.8
	// GaugersLimit is 10 ft2/s, the USGS rule for trained staff, on the plain
	// estimate.
	GaugersLimit = 10 * Foot2M2
	// MaxDepthM and MaxVelocityMS stand beside the product, which forgets deep
	// still and shallow fast water (adult caps of depth and of combined curves).
	MaxDepthM     = 1.2
	MaxVelocityMS = 2.0
)

// AboveGaugersLimit is the rule of ten: depth times velocity at or above 10 ft2/s.
func AboveGaugersLimit(depthM, velocityMS float64) bool {
	// Products of decimal feet must not miss the limit by a rounding error.
	return depthM*velocityMS >= GaugersLimit*(1-1e-12)
}

// HazardClass is the combined flood hazard class 1 to 6 of depth, velocity and
// their product. Every limit belongs to the lower class.
func HazardClass(depthM, velocityMS float64) int {
	const tiny = 1e-12
	dv := depthM * velocityMS
	for i, c := range [...]struct{ dv, depth, velocity float64 }{
		{0.3, 0.3, 2}, {0.6, 0.5, 2}, {0.6, 1.2, 2}, {1, 2, 2}, {4, 4, 4},
	} {
		if dv <= c.dv+tiny && depthM <= c.depth+tiny && velocityMS <= c.velocity+tiny {
			return i + 1
		}
	}
	return 6
}

// Person is a class of people by height times mass.
type Person int

// The classes: up to 25 m·kg, up to 50, above.
const (
	SmallChild Person = iota
	Child
	Adult
)

// PersonOf is the class of a height in m and a mass in kg.
func PersonOf(heightM, massKg float64) Person {
	switch hm := heightM * massKg; {
	case hm <= 25:
		return SmallChild
	case hm <= 50:
		return Child
	}
	return Adult
}

// Regime is how many people of a class lose their footing.
type Regime string

// The regimes.
const (
	RegimeNone        Regime = "none"
	RegimeLow         Regime = "low"
	RegimeModerate    Regime = "moderate_some"
	RegimeSignificant Regime = "significant_most"
	RegimeExtreme     Regime = "extreme_all"
)

// PeopleRegime is the regime of depth times velocity for a class of people.
func PeopleRegime(p Person, pushM2s float64) Regime {
	limits := map[Person][4]float64{ // upper ends of low, moderate, significant
		SmallChild: {0, 0, 0}, Child: {0.4, 0.4, 0.6}, Adult: {0.6, 0.8, 1.2},
	}[p]
	switch {
	case pushM2s <= 0:
		return RegimeNone
	case pushM2s <= limits[0]:
		return RegimeLow
	case pushM2s <= limits[1]:
		return RegimeModerate
	case pushM2s <= limits[2]:
		return RegimeSignificant
	}
	return RegimeExtreme
}

// PeopleCaps are the greatest depth and velocity at which the low regime holds.
func PeopleCaps(p Person) (depthM, velocityMS float64) {
	switch p {
	case Adult:
		return 1.2, 3
	case Child:
		return 0.5, 3
	}
	return 0, 0
}

// ProtectedAt04 tells whether the common guideline of 0.4 m2/s protects somebody
// of that height times mass (m·kg): not below 20.
func ProtectedAt04(heightMass float64) bool { return heightMass >= 20 }

// Bed is how well one stands.
type Bed int

// The beds of Karvonen et al. 2000: good, normal, and slippery, dark or full of
// debris.
const (
	GoodBed Bed = iota
	NormalBed
	PoorBed
)

// Karvonen is the depth times velocity at which a person of a height (m) and
// mass (kg) loses the footing, m2/s.
func Karvonen(heightM, massKg float64, b Bed) float64 {
	k := [...][2]float64{{0.006, 0.3}, {0.004, 0.2}, {0.002, 0.1}}[b]
	return k[0]*heightM*massKg + k[1]
}

// Abt is the same by Abt et al. 1989, m2/s: 0.0929 exp(0.001906 H m + 1.09)^2. It
// describes trials of fit people on a firm bed and must not be used as a limit.
func Abt(heightM, massKg float64) float64 {
	e := math.Exp(0.001906*heightM*massKg + 1.09)
	return 0.0929 * e * e
}

// HazardRating is d (v + 0.5) + debris of Defra/EA 2006.
func HazardRating(depthM, velocityMS, debris float64) float64 {
	return depthM*(velocityMS+0.5) + debris
}

// RatingClass puts a hazard rating into words; top is the last cut, 2.0 by the
// later note (use that) or 2.5.
func RatingClass(rating, top float64) string {
	switch {
	case rating < 0.75:
		return "low"
	case rating < 1.25:
		return "some"
	case rating < top:
		return "most"
	}
	return "all"
}

// DeepestThread is how much the deepest depth and the greatest depth times
// velocity exceed the section means, for a section of depth 1-|x|^r and velocity
// as depth to the power 2/3. r = 2 is a parabola.
//
//	mean depth / greatest = r/(r+1)
//	mean of depth^(5/3)   = integral of (1-x^r)^(5/3) over 0..1
func DeepestThread(r float64) (depth, dv float64) {
	depth = (r + 1) / r
	const n = 2000 // Simpson
	sum := 0.0
	for i := 0; i <= n; i++ {
		w := 2.0
		switch {
		case i == 0 || i == n:
			w = 1
		case i%2 == 1:
			w = 4
		}
		sum += w * math.Pow(math.Max(0, 1-math.Pow(float64(i)/n, r)), 5.0/3)
	}
	meanDV := sum / (3 * n) // mean over the width of depth x velocity, greatest = 1
	// Section means: depth r/(r+1), velocity = mean(d v)/mean depth; their
	// product is mean(d v).
	return depth, 1 / meanDV
}

// RegionalDepthM is a depth from the flow alone, m: 0.409 Q^0.294. For places
// without any measurement; it under-reads.
func RegionalDepthM(flowM3s float64) float64 { return 0.409 * math.Pow(flowM3s, 0.294) }

// WaveSpeed is how fast a release travels, m/s: 5/3 of the mean velocity in a
// wide channel.
func WaveSpeed(velocityMS float64) float64 { return velocityMS * 5 / 3 }
