package wading

import (
	"fmt"
	"math"

	"example.org/eclose/model/chance"
)

// modelMarginC is what a temperature that was worked out must be above the line
// to count as above it. Our own default.
const modelMarginC = 2

// byWater judges the water temperature. Water that is not known is cold water.
func (a *assessment) byWater() {
	w := a.in.Water
	if trouble := w.trouble("water temperature"); trouble != "" {
		a.add("cold.flags", Care, func(Units) string { return trouble + ": treat the water as cold" })
		return
	}
	c := w.Value
	if w.Modeled {
		c -= modelMarginC
	}
	cold := coldOf(c)
	name := func(u Units) string {
		if w.Modeled {
			return "water (modelled) at " + u.Temperature(w.Value)
		}
		return "water at " + u.Temperature(w.Value)
	}
	switch {
	case cold.Severe:
		a.add("cold.flags", Care, func(u Units) string {
			return fmt.Sprintf("%s: a fall takes your breath within %d min and the use of your muscles within %d", name(u), shockMinutes, muscleMinutes)
		})
	case cold.SurvivalCut:
		a.add("cold.flags", Care, func(u Units) string { return name(u) + ": cold enough for cold shock if you fall in" })
	case cold.Cold:
		a.add("cold.flags", Quiet, func(u Units) string { return name(u) + ": cold water" })
	}
}

// Chances of thunder from which the level rises. Our own default.
const (
	thunderMentioned = 0.1
	thunderCare      = 0.3
	thunderBetterNot = 0.66
)

// onThunder is what to do: the 30-30 rule.
const onThunder = "If you hear thunder, put the rod down, leave the water and the bank, and wait 30 minutes after the last thunder"

// byThunder judges the chance of thunder. An old forecast of these hours still
// raises the level; where none is left, one that we used to have is missing.
func (a *assessment) byThunder() {
	t := a.in.Thunder
	known := t.P != nil && !math.IsNaN(*t.P)
	switch {
	case known && !t.Old:
	case t.Asked:
		a.missing("chance of thunder: no fresh forecast. "+onThunder, BetterNot)
	default:
		a.unknown("chance of thunder. " + onThunder)
	}
	if !known || *t.P < thunderMentioned {
		return
	}
	level := Quiet
	switch p := *t.P; {
	case p > thunderBetterNot:
		level = BetterNot
	case p >= thunderCare:
		level = Care
	}
	a.put("thunder.chance", level, !t.Old, func(Units) string {
		return fmt.Sprintf("chance of thunder %s. %s", chance.PercentInText(*t.P), onThunder)
	})
}

// Light is how light it is at the river in the hours spoken of, the darkest of
// them.
type Light int

// The lights: the sun is up, it is below the horizon by less than 6°, by more.
const (
	Daylight Light = iota
	Dusk
	Night
)

// Asks is the level that the light asks for, and why: egg-laying is an evening
// matter, and who does not see the bed and the way out wades blind. Our own
// default.
func (l Light) Asks() (Level, string) {
	switch l {
	case Dusk:
		return Care, "dusk: leave while you still see the bed and the way out"
	case Night:
		return BetterNot, "dark: you see neither the bed nor the water coming"
	default:
		return Quiet, ""
	}
}

// OfHours says what the light asks for where hours reach into dusk or night; "" where
// they do not.
func (l Light) OfHours() string {
	level, why := l.Asks()
	if level == Quiet {
		return ""
	}
	return fmt.Sprintf("Some of these hours fall in %s. Caution at least %d then: %s.", why, level, level.Words())
}

func (a *assessment) byLight() {
	if level, why := a.in.Light.Asks(); level > Quiet {
		a.add("dark", level, func(Units) string { return why })
	}
}
