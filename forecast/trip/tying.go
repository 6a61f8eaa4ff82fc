package trip

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// Fly is one line of a tying list: what to tie for one stage of one group.
type Fly struct {
	Group        string         `json:"group"`
	Name         string         `json:"name"`
	Stage        forecast.Stage `json:"stage"`
	Imitation    string         `json:"imitation"`
	Hooks        []Hook         `json:"hooks"`
	Colours      string         `json:"colours"`
	Presentation string         `json:"presentation"`
	Hours        string         `json:"hours"`
	Chance       float64        `json:"chance"`
	NeededBy     forecast.Date  `json:"needed_by"`
	Source       string         `json:"source"`
}

// Hook is a size and how many flies of it.
type Hook struct {
	Size  int `json:"size"`
	Count int `json:"count"`
}

// What goes on the list, and how many flies. All are our own defaults: stages of
// one chance in five, or the three likeliest if they have half of that; two
// flies for each day on which a stage is expected, within bounds.
const (
	tieFrom   = 0.2
	tieAtMost = 12
	fliesADay = 2
	fliesMin  = 3
	fliesMax  = 12
)

// tying is the list for a stay, the likeliest stage first.
func tying(s Stay, groups Groups) []Fly {
	var out []Fly
	n := float64(s.To-s.From) + 1
	for _, l := range s.Likely {
		g, ok := groups(l.Group)
		if !ok || len(out) == tieAtMost || l.Chance < tieFrom && len(out) >= 3 || l.Chance < tieFrom/2 {
			continue
		}
		f := Fly{Group: l.Group, Name: l.Name, Stage: l.Stage, Imitation: Imitation(g, l.Stage), Colours: g.Colours,
			Presentation: g.Presentation(insects.Stage(l.Stage)), Hours: l.Hours, Chance: l.Chance, NeededBy: neededBy(l.stage, s)}
		f.Hooks = hooks(g.HookMin, g.HookMax, int(math.Max(fliesMin, math.Min(fliesMax, math.Ceil(fliesADay*n*l.Chance)))))
		f.Source = "no source"
		if x, ok := g.Fact("hooks", ""); ok {
			f.Source = x.Source
		}
		out = append(out, f)
	}
	slices.SortStableFunc(out, func(a, b Fly) int {
		return cmp.Or(cmp.Compare(a.NeededBy, b.NeededBy), cmp.Compare(b.Chance, a.Chance))
	})
	return out
}

// neededBy is the eve of the first day of a stay on which the stage is not
// unlikely any more, or of its likeliest day.
func neededBy(st *forecast.StageOutlook, s Stay) forecast.Date {
	best, at := -1.0, s.From
	for d := s.From; d <= s.To; d++ {
		x, _ := st.On(d)
		if x.P >= 1.0/3 {
			return d - 1
		}
		if x.P > best {
			best, at = x.P, d
		}
	}
	return at - 1
}

// hooks spreads n flies over the even sizes of a range, the middle ones first.
func hooks(biggest, smallest, n int) []Hook {
	if biggest <= 0 || smallest < biggest {
		return nil
	}
	var out []Hook
	for s := biggest; s <= smallest; s += 2 {
		out = append(out, Hook{Size: s})
	}
	order := make([]int, len(out))
	for i := range order {
		order[i] = i
	}
	middle := float64(len(out)-1) / 2
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(math.Abs(float64(a)-middle), math.Abs(float64(b)-middle))
	})
	for i := range n {
		out[order[i%len(order)]].Count++
	}
	return slices.DeleteFunc(out, func(h Hook) bool { return h.Count == 0 })
}

// HookWords is a list of hooks as it is written on a slip.
func (f Fly) HookWords() string {
	if len(f.Hooks) == 0 {
		return "hook size unknown"
	}
	parts := make([]string, len(f.Hooks))
	for i, h := range f.Hooks {
		parts[i] = fmt.Sprintf("%d × size %d", h.Count, h.Size)
	}
	return strings.Join(parts, ", ")
}

// Imitation names what is tied for a stage, in trade words, from the insect's
// order, from where it leaves its skin and from how it lays. Common practice,
// no source.
func Imitation(g *insects.Group, stage forecast.Stage) string {
	under := g.OvipositionMode == insects.Dives || g.OvipositionMode == insects.CrawlsUnder
	if stage == forecast.EggLaying {
		switch {
		case g.Order == "Ephemeroptera" && under:
			return "sunken spinner"
		case g.Order == "Ephemeroptera":
			return "spent spinner"
		case g.Order == "Trichoptera" && under:
			return "sunken winged wet and spent adult"
		case g.Order == "Trichoptera":
			return "adult, egg-laying"
		case g.Order == "Plecoptera":
			return "adult stonefly, egg-laying"
		}
		return "adult, egg-laying"
	}
	ashore := g.EmergenceSite == insects.AtShore
	switch {
	case g.Order == "Ephemeroptera" && g.EmergenceSite == insects.Underwater:
		return "winged emerger and dun"
	case g.Order == "Ephemeroptera" && ashore:
		return "nymph on its way ashore"
	case g.Order == "Ephemeroptera":
		return "nymph, emerger and dun"
	case g.Order == "Trichoptera" && ashore:
		return "pupa on its way ashore"
	case g.Order == "Trichoptera":
		return "pupa and emerger"
	case g.Order == "Plecoptera":
		return "nymph on its way ashore"
	}
	return "pupa and emerger"
}
