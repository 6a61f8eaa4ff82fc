package wading

// Level is how much caution a river asks for.
type Level int

// The levels. There is no word for water without danger: Quiet only says that
// this gauge gives no reason for more.
const (
	Quiet Level = iota
	Care
	BetterNot
	KeepOut
)

// Words is the level for people.
func (l Level) Words() string {
	return [...]string{
		"nothing at this gauge calls for more than the usual care", "take care", "better not to wade", "keep out of the water",
	}[l]
}

// Limits on section-mean depth times velocity with margin, m2/s: where the
// levels begin. Our own default, drawn from published trials (see Bases): 0.4 is
// where a strong adult stands on a poor bed (Karvonen et al. 2000), 0.8 the
// working limit of trained staff (Cox et al. 2010).
const (
	CareDV      = 0.4
	BetterNotDV = 0.6
	KeepOutDV   = 0.8
	// GaugersLimit is 10 ft2/s, the USGS rule for trained staff, on the plain
	// estimate.
	GaugersLimit = 10 * foot2M2
	// maxDepthM and MaxVelocityMS stand beside the product, which forgets deep
	// still and shallow fast water (adult caps of depth and of combined curves).
	maxDepthM     = 1.2
	maxVelocityMS = 2.0
)

// Hydraulics is what the river does at the gauge section; NaN where not known.
type Hydraulics struct {
	DVM2s      float64 // depth times velocity, section mean
	DVHighM2s  float64 // the same with margin
	DepthM     float64 // section mean
	VelocityMS float64 // section mean
}

// flowLevel is the level of a section's depth and velocity alone. The worst line
// wins.
func flowLevel(h Hydraulics) Level {
	const tiny = 1e-12
	switch {
	case h.DVHighM2s >= KeepOutDV-tiny, h.DVM2s >= GaugersLimit*(1-tiny), h.DepthM > maxDepthM, h.VelocityMS > maxVelocityMS:
		return KeepOut
	case h.DVHighM2s >= BetterNotDV-tiny:
		return BetterNot
	case h.DVHighM2s >= CareDV-tiny:
		return Care
	}
	return Quiet
}
