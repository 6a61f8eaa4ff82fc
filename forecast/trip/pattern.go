package trip

import (
	"fmt"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// Pattern is what imitates a stage of a group, in trade words. Common practice, no source.
type Pattern struct {
	Kind         string `json:"kind"` // one word or two: "emerger"
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
	return Pattern{Kind: kindOf(g, stage), Colours: g.Colours, HookMin: g.HookMin, HookMax: g.HookMax, Presentation: g.Presentation(insects.Stage(stage)),
		OnLand: onLand(g)}
}

// Name is the pattern in the first of its colours, as it is asked for over a counter:
// "dark brown pupa".
func (p Pattern) Name() string {
	colour, _, _ := strings.Cut(p.Colours, ",")
	colour, _, _ = strings.Cut(colour, ";")
	colour, _, _ = strings.Cut(colour, " to ")
	return strings.TrimSpace(strings.TrimSpace(colour) + " " + p.Kind)
}

// Words is the name with the sizes: "dark brown pupa, 16 to 18".
func (p Pattern) Words() string {
	if z := p.Sizes(); z != "" {
		return p.Name() + ", " + z
	}
	return p.Name()
}

// materials of a kind of pattern, in trade words; % stands for its colours. Common
// practice, no source.
var materials = map[string]string{
	"emerger":        "light-wire curved hook; % dubbing; snowshoe or CDC wing bud; shuck of tan yarn",
	"nymph":          "nymph hook; % dubbing, ribbed with fine wire; pheasant-tail legs; black bead if it must sink",
	"winged wet fly": "wet-fly hook; % dubbing; hen hackle; wing of duck quill",
	"spinner":        "light dry hook; % quill or thread body; split tails of microfibetts; spent wings of pale poly yarn",
	"sunken spinner": "wet-fly hook; % thread body with fine wire; two turns of hen hackle",
	"pupa":           "curved hook; % dubbing over wire; partridge hackle; head of dark dubbing",
	"soft hackle":    "wet-fly hook; % floss or dubbing; two turns of partridge",
	"dry caddis":     "dry hook; % dubbing; wing of elk or deer hair; cock hackle",
	"dry stonefly":   "long dry hook; % foam or dubbing; wing of elk hair; rubber legs",
	"adult":          "dry hook; % thread body; short wing of white yarn; small cock hackle",
	"dry fly":        "dry hook; % foam or dubbing; legs of rubber or knotted fibre; cock hackle",
}

// Materials is what the pattern is tied of, in trade words and its colours; empty if unknown.
func (p Pattern) Materials() string {
	colours, _, _ := strings.Cut(p.Colours, ",")
	colours, _, _ = strings.Cut(colours, ";")
	if colours == "" {
		colours = "dull"
	}
	return strings.Replace(materials[p.Kind], "%", colours, 1)
}

// Sizes is the range of hooks, "16" or "16 to 18"; empty if unknown.
func (p Pattern) Sizes() string {
	switch p.HookMin {
	case 0:
		return ""
	case p.HookMax:
		return fmt.Sprint(p.HookMin)
	}
	return fmt.Sprintf("%d to %d", p.HookMin, p.HookMax)
}

// What is an insect with what it does: "golden stone laying eggs".
func What(name string, stage forecast.Stage, onLand bool) string {
	switch {
	case stage == forecast.EggLaying:
		return name + " laying eggs"
	case onLand:
		return name
	}
	return name + " hatch"
}

func onLand(g *insects.Group) bool {
	return g.Habitat == insects.Land || g.EmergenceSite == insects.OnLand
}

// kindOf names what is tied for a stage, from the insect's order, from where it leaves its
// skin and from how it lays.
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
