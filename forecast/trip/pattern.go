package trip

import (
	"fmt"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// Pattern is what imitates a stage of a group, in trade words. Common practice, no source.
type Pattern struct {
	Kind         string `json:"kind"`      // one word or two: "emerger"
	Imitation    string `json:"imitation"` // all that is tied for the stage
	Colours      string `json:"colours"`
	HookMin      int    `json:"hook_min"` // hook numbers: the smallest number is the biggest hook; 0: unknown
	HookMax      int    `json:"hook_max"`
	Presentation string `json:"presentation"`
	OnLand       bool   `json:"on_land,omitempty"` // a land insect: it falls on the water and does not hatch from it
}

// PatternOf is the pattern for a stage of a group; the zero Pattern for a nil group.
func PatternOf(g *insects.Group, stage forecast.Stage) Pattern {
	if g == nil {
		return Pattern{}
	}
	return Pattern{Kind: kindOf(g, stage), Imitation: Imitation(g, stage), Colours: g.Colours, HookMin: g.HookMin, HookMax: g.HookMax, Presentation: g.Presentation(insects.Stage(stage)),
		OnLand: onLand(g)}
}

// Words is the pattern as it is asked for over a counter, in the first of its colours:
// "dark brown pupa, 16 to 18".
func (p Pattern) Words() string {
	colour, _, _ := strings.Cut(p.Colours, ",")
	colour, _, _ = strings.Cut(colour, ";")
	colour, _, _ = strings.Cut(colour, " to ")
	colour = strings.TrimSpace(colour)
	s := strings.TrimSpace(colour + " " + p.Kind)
	if z := p.Sizes(); z != "" {
		s += ", " + z
	}
	return s
}

// Sizes is the range of hooks, "16" or "16 to 18"; empty if unknown.
func (p Pattern) Sizes() string {
	switch {
	case p.HookMin == 0:
		return ""
	case p.HookMin == p.HookMax:
		return fmt.Sprint(p.HookMin)
	}
	return fmt.Sprintf("%d to %d", p.HookMin, p.HookMax)
}

func onLand(g *insects.Group) bool {
	return g.Habitat == insects.Land || g.EmergenceSite == insects.OnLand
}

func kindOf(g *insects.Group, stage forecast.Stage) string {
	under := g.OvipositionMode == insects.Dives || g.OvipositionMode == insects.CrawlsUnder
	if onLand(g) {
		return "dry fly"
	}
	switch g.Order {
	case "Ephemeroptera":
		switch {
		case stage == forecast.EggLaying && under:
			return "sunken spinner"
		case stage == forecast.EggLaying:
			return "spinner"
		case g.EmergenceSite == insects.Underwater:
			return "winged wet fly"
		case g.EmergenceSite == insects.AtShore:
			return "nymph"
		}
		return "emerger"
	case "Trichoptera":
		switch {
		case stage == forecast.EggLaying && under:
			return "soft hackle"
		case stage == forecast.EggLaying:
			return "dry caddis"
		}
		return "pupa"
	case "Plecoptera":
		if stage == forecast.EggLaying {
			return "dry stonefly"
		}
		return "nymph"
	}
	if stage == forecast.EggLaying {
		return "adult"
	}
	return "pupa"
}
