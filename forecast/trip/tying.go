package trip

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"example.org/eclose/forecast"
)

// Fly is one line of a tying list: one pattern, for all the stages that it is good for.
type Fly struct {
	Name      string         `json:"name"` // as it is asked for: "dark grey-green pupa"
	Kind      string         `json:"kind"`
	For       []string       `json:"for"` // insects and stages, the likeliest first
	Hooks     []Hook         `json:"hooks"`
	Take      int            `json:"take"`   // flies in all
	InBox     int            `json:"in_box"` // of them, already tied
	NeededBy  forecast.Date  `json:"needed_by"`
	Chance    float64        `json:"chance"` // of the likeliest
	Colours   string         `json:"colours"`
	Materials string         `json:"materials"` // in trade words
	Fished    string         `json:"fished"`    // how it is presented
	Hours     forecast.Hours `json:"hours"`
	Source    string         `json:"source"`
}

// Hook is a size, how many flies of it to take and how many of those the box holds.
type Hook struct {
	Size  int `json:"size"`
	Count int `json:"count"`
	InBox int `json:"in_box,omitempty"`
}

// ToTie is how many flies are still to be tied.
func (f Fly) ToTie() int { return f.Take - f.InBox }

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

// tying is the one list for a whole stay: stages that ask for the same pattern share a
// line, and their sizes are merged. What is needed first comes first.
func tying(s Stay, groups Groups) []Fly {
	var out []Fly
	at := map[string]int{}
	n := float64(s.To-s.From) + 1
	used := 0
	for _, l := range s.Likely {
		g, ok := groups(l.Group)
		if !ok || used == tieAtMost || l.Chance < tieFrom && used >= 3 || l.Chance < tieFrom/2 {
			continue
		}
		used++
		p := PatternOf(g, l.Stage)
		f := Fly{Name: p.Name(), Kind: p.Kind, For: []string{What(l.Name, l.Stage, p.OnLand)}, Chance: l.Chance, NeededBy: neededBy(l.stage, s),
			Colours: g.Colours, Materials: p.Materials(), Fished: p.Presentation, Hours: l.Hours, Source: "no source"}
		f.Hooks = hooks(p.HookMin, p.HookMax, int(math.Max(fliesMin, math.Min(fliesMax, math.Ceil(fliesADay*n*l.Chance)))))
		if x, ok := g.Fact("hooks", ""); ok {
			f.Source = x.Source
		}
		if k, ok := at[f.Name]; ok {
			out[k].merge(f)
			continue
		}
		at[f.Name] = len(out)
		out = append(out, f)
	}
	for i := range out {
		out[i].count()
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(cmp.Compare(a.NeededBy, b.NeededBy), cmp.Compare(b.Chance, a.Chance)) < 0
	})
	return out
}

// merge adds a line for another insect that asks for the same pattern: of each size, as
// many as the hungrier of the two wants, since one fly serves both.
func (f *Fly) merge(o Fly) {
	f.For = append(f.For, o.For...)
	f.NeededBy, f.Chance = min(f.NeededBy, o.NeededBy), max(f.Chance, o.Chance)
	for _, h := range o.Hooks {
		i := slices.IndexFunc(f.Hooks, func(x Hook) bool { return x.Size == h.Size })
		if i < 0 {
			f.Hooks = append(f.Hooks, h)
			continue
		}
		f.Hooks[i].Count = max(f.Hooks[i].Count, h.Count)
	}
	sort.Slice(f.Hooks, func(i, j int) bool { return f.Hooks[i].Size < f.Hooks[j].Size })
}

func (f *Fly) count() {
	f.Take, f.InBox = 0, 0
	for _, h := range f.Hooks {
		f.Take += h.Count
		f.InBox += h.InBox
	}
}

// Pack marks on the tying list what a box already holds.
func (t *Trip) Pack(b Box) {
	for i := range t.Tying {
		f := &t.Tying[i]
		for k := range f.Hooks {
			f.Hooks[k].InBox = min(f.Hooks[k].Count, b.Holds(f.Name, f.Hooks[k].Size))
		}
		f.count()
	}
}

// ToTie is how many flies of the list are still to be tied.
func (t *Trip) ToTie() int {
	n := 0
	for _, f := range t.Tying {
		n += f.ToTie()
	}
	return n
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
