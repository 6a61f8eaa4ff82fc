package wading

import "math"

// FlowClass is the percentile class of a flow for its day of the year.
type FlowClass string

// The classes.
const (
	MuchBelow FlowClass = "much_below"
	Below     FlowClass = "below"
	Normal    FlowClass = "normal"
	Above     FlowClass = "above"
	MuchAbove FlowClass = "much_above"
)

// classOf puts a percentile (0-100) of the day into its class. The published
// classes are whole numbers; between them we cut at 10, 25, 75 and 90.
func classOf(percentile float64) FlowClass {
	switch {
	case percentile < 10:
		return MuchBelow
	case percentile < 25:
		return Below
	case percentile <= 75:
		return Normal
	case percentile <= 90:
		return Above
	}
	return MuchAbove
}

// Words is the class for people.
func (c FlowClass) Words() string {
	return map[FlowClass]string{
		MuchBelow: "much below normal", Below: "below normal", Normal: "normal",
		Above: "above normal", MuchAbove: "much above normal",
	}[c]
}

// Flood are the gauge heights, m, and the flows from which a flood category
// begins; NaN, and for a flow 0, where a gauge has none. The zero Flood is NoFlood.
type Flood struct {
	ActionM, MinorM, ModerateM, MajorM float64

	FlowsM3s [4]float64 // action, minor, moderate, major
}

// NoFlood is a gauge without flood categories.
var NoFlood = Flood{ActionM: math.NaN(), MinorM: math.NaN(), ModerateM: math.NaN(), MajorM: math.NaN()}

// Any reports whether a category is given by its height.
func (f Flood) Any() bool {
	_, ok := f.lowest()
	return ok
}

func (f Flood) lowest() (float64, bool) {
	low := math.Inf(1)
	heights := [4]float64{f.ActionM, f.MinorM, f.ModerateM, f.MajorM}
	if heights == [4]float64{} {
		return low, false
	}
	for _, h := range heights {
		if given(h) {
			low = min(low, h)
		}
	}
	return low, !math.IsInf(low, 1)
}

// given tells a height from the codes that stand for none.
func given(h float64) bool { return !math.IsNaN(h) && h > -900*footM }

// Category is the flood category of a gauge height: none, action, minor,
// moderate or major.
func (f Flood) Category(stageM float64) string {
	category := "none"
	if !f.Any() {
		return category
	}
	for i, from := range [4]float64{f.ActionM, f.MinorM, f.ModerateM, f.MajorM} {
		if given(from) && stageM >= from-1e-9 {
			category = categories[i]
		}
	}
	return category
}

// categories are the flood categories, mildest first.
var categories = [4]string{"action", "minor", "moderate", "major"}

// FlowCategory is the flood category of a flow, as Category, and the flow from
// which the lowest category begins; infinite where none is given.
func (f Flood) FlowCategory(flowM3s float64) (category string, lowestM3s float64) {
	category, lowestM3s = "none", math.Inf(1)
	for i, from := range f.FlowsM3s {
		if math.IsNaN(from) || from <= 0 {
			continue
		}
		lowestM3s = min(lowestM3s, from)
		if flowM3s >= from*(1-1e-9) {
			category = categories[i]
		}
	}
	return category, lowestM3s
}

// Lines of cold water, °C.
var (
	coldC     = FtoC(70) // NWS: cold at or below
	survivalC = FtoC(60) // NWS: survival cut below
	severeC   = FtoC(50)
)

// Cold is what a water temperature means to somebody who falls in.
type Cold struct {
	Cold        bool // at or below 70 °F
	SurvivalCut bool // below 60 °F
	Severe      bool // below 50 °F
}

// coldOf judges a water temperature, °C.
func coldOf(waterC float64) Cold {
	const tiny = 1e-9
	return Cold{Cold: waterC <= coldC+tiny, SurvivalCut: waterC < survivalC-tiny, Severe: waterC < severeC-tiny}
}

// Minutes after falling into cold water, as the NWS gives them.
const (
	shockMinutes  = 1
	muscleMinutes = 10
)
