package wading

import "slices"

// FishAdvice is what warm water asks of somebody who fishes for trout.
type FishAdvice string

// The advices.
const (
	FishNone        FishAdvice = "none"
	FishThermometer FishAdvice = "carry_thermometer"
	FishRest        FishAdvice = "rest_trout"
	FishStop        FishAdvice = "stop_trout"
)

// Words is the advice for people.
func (a FishAdvice) Words() string {
	return map[FishAdvice]string{
		FishNone:        "no fish advice at this temperature",
		FishThermometer: "carry a thermometer and fish early",
		FishRest:        "rest the trout",
		FishStop:        "stop fishing for trout",
	}[a]
}

// AdviceFor is the advice at a water temperature, °C: from 65, 68 and 70 °F.
// Our own default, drawn from the lines of the agencies named in Bases.
func AdviceFor(waterC float64) FishAdvice {
	const tiny = 1e-9
	switch f := CtoF(waterC) + tiny; {
	case f >= 70:
		return FishStop
	case f >= 68:
		return FishRest
	case f >= 65:
		return FishThermometer
	}
	return FishNone
}

// Graver reports whether an advice asks for more than another.
func Graver(a, than FishAdvice) bool {
	order := []FishAdvice{FishNone, FishThermometer, FishRest, FishStop}
	return slices.Index(order, a) > slices.Index(order, than)
}

// Lines from which authorities have closed waters or ask for restraint, °C. That
// of Montana counts daily maxima of waters without native trout.
var (
	YellowstoneLineC = FtoC(68)
	NewYorkLineC     = FtoC(70)
	ColoradoLineC    = FtoC(71)
	MontanaLineC     = FtoC(73)
)
