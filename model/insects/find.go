package insects

import (
	"cmp"
	"slices"
	"sort"
	"strings"
	"time"
)

// Candidate is one group that a name may mean.
type Candidate struct {
	Group    *Group
	Name     Name     // the entry of the names table that matched
	Distance int      // letters wrong; 0 for a name as written in the table
	Partial  bool     // only part of the name matched
	BroodOf  string   // set on a brood that came in with its parent
	InRegion bool     // the name is used, and the group flies, in the region asked for
	InSeason bool     // a stage touches the month asked for, in that region or in any
	Windows  []Window // when it happens: in the region asked for, or in all of its regions
}

// entry is a name made ready for comparison.
type entry struct {
	folded string
	spoken string
	words  []string
	name   Name
}

// buildIndex collects every name of the tables and the scientific names that the
// groups themselves carry.
func buildIndex(c *Catalogue) []entry {
	var out []entry
	have := map[[2]string]bool{}
	add := func(n Name) {
		f := fold(n.Name)
		out = append(out, entry{folded: f, spoken: spoken(n.Name), words: strings.Fields(f), name: n})
		have[[2]string{f, n.Group}] = true
	}
	for _, n := range c.names {
		add(n)
	}
	for _, g := range c.groups {
		derived := func(name string, rank int, note string) {
			if !have[[2]string{fold(name), g.Key}] {
				add(Name{Name: name, Area: "any", Group: g.Key, Rank: rank, Kind: "scientific", Note: note})
			}
		}
		for _, s := range g.Species {
			derived(s, 1, "species")
			if genus, rest, ok := strings.Cut(s, " "); ok {
				derived(genus[:1]+" "+rest, 2, "species, genus by its first letter")
			}
		}
		for _, s := range g.Genera {
			derived(s, 5, "genus")
		}
		for _, s := range g.Family {
			derived(s, 8, "family")
		}
		derived(strings.ReplaceAll(g.Key, "-", " "), 1, "key of the group")
		if label := Label(g.Key); label != strings.ReplaceAll(g.Key, "-", " ") {
			add(Name{Name: label, Area: "any", Group: g.Key, Rank: 1, Kind: "common", Note: "label of the group"})
		}
	}
	return out
}

// Find lists the groups that a name may mean, best first. The name may be a
// common, regional or scientific one, with letters wrong; region and month may
// be empty (0) and then narrow nothing. It never chooses: a name that fits one
// group comes back as a list of one with its region and season, and names used
// only elsewhere or out of season stay on the list behind the others.
func (c *Catalogue) Find(name string, region Region, month time.Month) []Candidate {
	q := fold(name)
	if q == "" {
		return nil
	}
	found := c.match(func(e entry) (int, bool) { return 0, e.folded == q }, false, region, month)
	fits := slices.ContainsFunc(found, func(x Candidate) bool { return region == "" || x.InRegion })
	if !fits {
		words := strings.Fields(q)
		partial := c.match(func(e entry) (int, bool) { return 0, containsAll(e.words, words) }, true, region, month)
		found = join(found, partial)
	}
	if len(found) == 0 {
		limit, heard := allowedErrors(q), spoken(name)
		found = c.match(func(e entry) (int, bool) {
			d := editDistance(q, e.folded, limit+1)
			if limit > 0 {
				// A word heard is never as good as a word read.
				d = min(d, 1+editDistance(heard, e.spoken, limit))
			}
			return d, d <= limit
		}, false, region, month)
		// A shorter distance is a better reading: drop those two or more letters worse.
		if len(found) > 0 {
			best := found[0].Distance
			for _, f := range found {
				best = min(best, f.Distance)
			}
			found = slices.DeleteFunc(found, func(x Candidate) bool { return x.Distance > best+1 })
		}
	}
	found = c.withBroods(found, region, month)
	sort.SliceStable(found, func(i, j int) bool {
		a, b := found[i], found[j]
		return cmp.Or(
			boolFirst(a.InRegion || region == "", b.InRegion || region == ""),
			boolFirst(a.InSeason, b.InSeason),
			boolFirst(!a.Partial, !b.Partial),
			cmp.Compare(a.Distance, b.Distance),
			boolFirst(a.Name.Kind != "misapplied", b.Name.Kind != "misapplied"),
			cmp.Compare(a.Name.Rank, b.Name.Rank),
			cmp.Compare(a.Group.Key, b.Group.Key),
		) < 0
	})
	return found
}

// match collects the best entry per group among those that fit.
func (c *Catalogue) match(fits func(entry) (int, bool), partial bool, region Region, month time.Month) []Candidate {
	best := map[string]Candidate{}
	var keys []string
	for _, e := range c.index {
		d, ok := fits(e)
		if !ok {
			continue
		}
		cand := c.candidate(c.byKey[e.name.Group], e.name, region, month)
		cand.Distance, cand.Partial = d, partial
		old, seen := best[e.name.Group]
		if !seen {
			keys = append(keys, e.name.Group)
		}
		if !seen || cmp.Or(
			boolFirst(cand.InRegion, old.InRegion),
			cmp.Compare(cand.Distance, old.Distance),
			cmp.Compare(cand.Name.Rank, old.Name.Rank)) < 0 {
			best[e.name.Group] = cand
		}
	}
	out := make([]Candidate, 0, len(keys))
	for _, k := range keys {
		out = append(out, best[k])
	}
	return out
}

func (c *Catalogue) candidate(g *Group, n Name, region Region, month time.Month) Candidate {
	cand := Candidate{Group: g, Name: n}
	family := []*Group{g}
	if g.Kind == Parent {
		family = c.Broods(g.Key)
	}
	for _, f := range family {
		for _, r := range f.Regions() {
			if region != "" && r != region {
				continue
			}
			if region != "" && region.in(n.Area) {
				cand.InRegion = true
			}
			for _, s := range Stages {
				if w, ok := f.Window(r, s); ok {
					cand.Windows = append(cand.Windows, w)
					if month == 0 || w.InMonth(month) {
						cand.InSeason = true
					}
				}
			}
		}
	}
	return cand
}

// withBroods adds the broods of every parent on the list, so that a name for
// all of them can be narrowed by season.
func (c *Catalogue) withBroods(found []Candidate, region Region, month time.Month) []Candidate {
	for _, p := range found {
		for _, b := range c.Broods(p.Group.Key) {
			if slices.ContainsFunc(found, func(x Candidate) bool { return x.Group == b }) {
				continue
			}
			cand := c.candidate(b, p.Name, region, month)
			cand.Distance, cand.Partial, cand.BroodOf = p.Distance, p.Partial, p.Group.Key
			cand.Name.Rank++ // behind the parent that brought it
			found = append(found, cand)
		}
	}
	return found
}

func join(a, b []Candidate) []Candidate {
	for _, x := range b {
		if !slices.ContainsFunc(a, func(y Candidate) bool { return y.Group == x.Group }) {
			a = append(a, x)
		}
	}
	return a
}

func containsAll(words, wanted []string) bool {
	for _, w := range wanted {
		if !slices.Contains(words, w) {
			return false
		}
	}
	return true
}

func boolFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}
