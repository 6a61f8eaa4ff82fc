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

// Graver tells whether an advice asks for more than another.
func Graver(a, than FishAdvice) bool {
	order := []FishAdvice{FishNone, FishThermometer, FishRest, FishStop}
	return slices.Index(order, a) > slices.Index(order, than)
}

// Fishery is what lives in a stream, for the lines of Montana.
type Fishery string

// The fisheries.
const (
	NonNative Fishery = "nonnative_salmonid"
	Cutthroat Fishery = "cutthroat"
	BullTrout Fishery = "bull_trout"
)

// MontanaLineC is the daily maximum from which Montana may restrict fishing, °C.
func MontanaLineC(f Fishery) float64 {
	switch f {
	case BullTrout:
		return FtoC(60)
	case Cutthroat:
		return FtoC(66)
	}
	return FtoC(73)
}

// MontanaMet tells whether the last three daily maxima all reached the line. It
// is a criterion, not a closure: only the agency closes a river.
func MontanaMet(f Fishery, dailyMaxC []float64) bool {
	return lastThree(dailyMaxC, func(c float64) bool { return c >= MontanaLineC(f)-1e-9 })
}

// MontanaReopenMet tells whether the last three daily maxima were at or below
// 70 °F.
func MontanaReopenMet(dailyMaxC []float64) bool {
	return lastThree(dailyMaxC, func(c float64) bool { return c <= FtoC(70)+1e-9 })
}

// MontanaLowFlowMet tells whether a daily mean is at or below the 5th percentile
// of its day.
func MontanaLowFlowMet(percentile float64) bool { return percentile <= 5 }

// Hours of the day in which fishing ends under Montana's afternoon closure.
const (
	MontanaClosedFromHour = 14
	MontanaClosedToHour   = 24
)

// Lines above which other authorities have closed waters or ask for restraint, °C.
var (
	YellowstoneLineC = FtoC(68)
	NewYorkLineC     = FtoC(70)
	ColoradoLineC    = FtoC(71)
)

// AboveLine tells whether a temperature is over a line that counts from above.
func AboveLine(waterC, lineC float64) bool { return waterC > lineC+1e-9 }

// ColoradoOxygenMet tells whether dissolved oxygen (ppm) is below 6.
func ColoradoOxygenMet(ppm float64) bool { return ppm < 6 }

func lastThree(v []float64, ok func(float64) bool) bool {
	if len(v) < 3 {
		return false
	}
	for _, x := range v[len(v)-3:] {
		if !ok(x) {
			return false
		}
	}
	return true
}
