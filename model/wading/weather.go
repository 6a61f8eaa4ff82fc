package wading

import (
	"math"
	"time"
)

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

// ClassOf puts a percentile (0-100) of the day into its class. The published
// classes are whole numbers; between them we cut at 10, 25, 75 and 90.
func ClassOf(percentile float64) FlowClass {
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

// Flood are the gauge heights, m, from which a flood category begins; NaN where
// a gauge has none. The zero Flood is NoFlood.
type Flood struct {
	ActionM, MinorM, ModerateM, MajorM float64
}

// NoFlood is a gauge without flood categories.
var NoFlood = Flood{math.NaN(), math.NaN(), math.NaN(), math.NaN()}

// Any tells whether any category is given.
func (f Flood) Any() bool {
	_, ok := f.lowest()
	return ok
}

func (f Flood) lowest() (float64, bool) {
	low := math.Inf(1)
	if f == (Flood{}) {
		return low, false
	}
	for _, h := range []float64{f.ActionM, f.MinorM, f.ModerateM, f.MajorM} {
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
	for _, c := range []struct {
		name string
		from float64
	}{{"action", f.ActionM}, {"minor", f.MinorM}, {"moderate", f.ModerateM}, {"major", f.MajorM}} {
		if given(c.from) && stageM >= c.from-1e-9 {
			category = c.name
		}
	}
	return category
}

// Limits of a fast rise; our own default, no wading standard was found.
const (
	riseStage1hM = 0.5 * footM
	riseStage3hM = 1.0 * footM
	riseFlow1h   = 0.25
	riseFlow3h   = 0.50
)

// FastRise tells whether a rise over so many hours (at most three) is fast. A
// value that is not known is NaN. flowShare is the rise over the earlier flow.
func FastRise(hours, stageRiseM, flowShare float64) bool {
	const tiny = 1e-9
	switch {
	case hours <= 1+tiny:
		return stageRiseM >= riseStage1hM-tiny || flowShare >= riseFlow1h-tiny
	case hours <= 3+tiny:
		return stageRiseM >= riseStage3hM-tiny || flowShare >= riseFlow3h-tiny
	}
	return false
}

// Point is one past reading for the rate of rise; NaN for what was not read.
type Point struct {
	Age     time.Duration
	FlowM3s float64
	StageM  float64
}

// Rise is what the last hours show.
type Rise struct {
	Fast      bool    // the limits are passed
	Confirmed bool    // and the reading before the last shows it too
	Hours     float64 // over which it was found
	StageM    float64 // NaN when not read
	FlowShare float64 // NaN when not read
}

// FindRise looks at the last three hours of readings, newest last or not. The
// last and the one before must agree before a rise is confirmed: one spike is
// not a flood, but it is told.
func FindRise(points []Point) Rise {
	out := Rise{StageM: math.NaN(), FlowShare: math.NaN()}
	newest, second := -1, -1
	for i, p := range points {
		if newest < 0 || p.Age < points[newest].Age {
			newest, second = i, newest
		} else if second < 0 || p.Age < points[second].Age {
			second = i
		}
	}
	if newest < 0 {
		return out
	}
	last := points[newest]
	for i, p := range points {
		hours := (p.Age - last.Age).Hours()
		if i == newest || hours <= 0 || hours > 3 {
			continue
		}
		stage, share := last.StageM-p.StageM, last.FlowM3s/p.FlowM3s-1
		if !FastRise(hours, stage, share) {
			continue
		}
		confirmed := false
		if i != second {
			s := points[second]
			since := (p.Age - s.Age).Hours()
			confirmed = since > 0 && FastRise(since, s.StageM-p.StageM, s.FlowM3s/p.FlowM3s-1)
		}
		if !out.Fast || confirmed && !out.Confirmed {
			out = Rise{Fast: true, Confirmed: confirmed, Hours: hours, StageM: stage, FlowShare: share}
		}
	}
	return out
}

// Lines of cold water, °C.
var (
	coldC     = FtoC(70) // NWS: cold at or below
	survivalC = FtoC(60) // NWS: survival cut below
	severeC   = FtoC(50)
)

// rnliColdC is RNLI's line: below it water is cold.
const rnliColdC = 15

// Cold is what a water temperature means to somebody who falls in.
type Cold struct {
	Cold        bool // at or below 70 °F
	SurvivalCut bool // below 60 °F
	Severe      bool // below 50 °F
	RNLI        bool // below 15 °C
}

// ColdOf judges a water temperature, °C.
func ColdOf(waterC float64) Cold {
	const tiny = 1e-9
	return Cold{
		Cold: waterC <= coldC+tiny, SurvivalCut: waterC < survivalC-tiny,
		Severe: waterC < severeC-tiny, RNLI: waterC < rnliColdC-tiny,
	}
}

// Minutes after falling into cold water, as the NWS gives them.
const (
	ShockMinutes          = 1
	MuscleMinutes         = 10
	HypothermiaMinutesMin = 20
	HypothermiaMinutesMax = 30
)

// The 1-10-1 rule (Giesbrecht, from memory).
const (
	BreathingMinutes      = 1
	UsefulMovementMinutes = 10
	UnconsciousHours      = 1
)

// OnThunder is what to do when so many seconds pass from flash to bang. Any
// thunder is enough to go in.
func OnThunder(seconds float64) string {
	if seconds <= 30 {
		return "shelter"
	}
	return "thunder_heard_go_in_anyway"
}

// MayResume tells whether half an hour has passed since the last thunder.
func MayResume(sinceLast time.Duration) bool { return sinceLast >= 30*time.Minute }
