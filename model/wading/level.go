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

// Hydraulics is what the river does at the gauge section; NaN where not known.
type Hydraulics struct {
	DVM2s      float64 // depth times velocity, section mean
	DVHighM2s  float64 // the same with margin
	DepthM     float64 // section mean
	VelocityMS float64 // section mean
}

// FlowLevel is the level of a section's depth and velocity alone, and of the
// gauge height against the action height. The worst line wins.
func FlowLevel(h Hydraulics, atActionHeight bool) Level {
	const tiny = 1e-12
	switch {
	case atActionHeight, h.DVHighM2s >= KeepOutDV-tiny, h.DVM2s >= GaugersLimit*(1-tiny), h.DepthM > MaxDepthM, h.VelocityMS > MaxVelocityMS:
		return KeepOut
	case h.DVHighM2s >= BetterNotDV-tiny:
		return BetterNot
	case h.DVHighM2s >= CareDV-tiny:
		return Care
	}
	return Quiet
}
