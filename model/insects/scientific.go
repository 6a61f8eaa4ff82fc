package insects

import (
	"slices"
	"strings"
)

// Scientific returns the groups that a scientific name stands for in a region,
// spelt as in the catalogue: no letter may be wrong. A species that the catalogue
// lacks stands for the groups of its genus. A parent stands for its broods, which
// only the date tells apart. One group: the name is resolved; several: it is
// ambiguous and the caller must not choose; none: it is unknown there.
func (c *Catalogue) Scientific(name string, region Region) []*Group {
	words := strings.Fields(fold(name))
	if len(words) > 1 {
		species := strings.Join(words[:2], " ")
		if slices.ContainsFunc(c.index, func(e entry) bool { return e.folded == species && e.scientific() }) {
			return c.scientific(species, region) // none where it flies elsewhere only
		}
	}
	if len(words) == 0 {
		return nil
	}
	return c.scientific(words[0], region)
}

func (c *Catalogue) scientific(folded string, region Region) []*Group {
	var out []*Group
	for _, e := range c.index {
		if e.folded != folded || !e.scientific() {
			continue
		}
		g := c.byKey[e.name.Group]
		if g.ParentKey != "" && c.byKey[g.ParentKey] != nil {
			g = c.byKey[g.ParentKey]
		}
		if region.in(e.name.Area) && c.flies(g, region) && !slices.Contains(out, g) {
			out = append(out, g)
		}
	}
	return out
}

// flies reports whether a group, or a brood of it, has a window in a region.
func (c *Catalogue) flies(g *Group, region Region) bool {
	for _, b := range append(c.Broods(g.Key), g) {
		if slices.Contains(b.Regions(), region) {
			return true
		}
	}
	return false
}

func (e entry) scientific() bool {
	return strings.HasPrefix(e.name.Kind, "scientific") || e.name.Kind == "synonym"
}
