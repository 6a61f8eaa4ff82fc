package forecast

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"example.org/eclose/model/insects"
)

// Shift is how far sightings moved a stage's window in an outlook: days later by
// the median, and the window without and with them.
type Shift struct {
	Group         string
	Stage         Stage
	Sightings     int // of the stage at the river
	Days          float64
	Before, After Window
}

// Unused is a group of the diary of which nothing can be learnt, and why.
type Unused struct {
	Group     string
	Sightings int
	Why       string
}

// Calibrate says how the sightings known at a record's issue change its outlook.
// It also returns the river's sightings that were not used, and why.
func Calibrate(rec Record, r River, c *insects.Catalogue, sightings []Sighting) ([]Shift, []Unused, error) {
	is := new(Issuer)
	before, err := is.Outlook(rec, r, c, Options{ChancesOnly: true})
	if err != nil {
		return nil, nil, err
	}
	after, err := is.Outlook(rec, r, c, Options{ChancesOnly: true, Sightings: sightings})
	if err != nil {
		return nil, nil, err
	}
	var shifts []Shift
	there := map[string]bool{}
	for i := range after.Stages {
		a, b := &after.Stages[i], &before.Stages[i]
		there[a.Group] = true
		s := Shift{Group: a.Group, Stage: a.Stage, Before: b.Window, After: a.Window}
		for _, x := range rec.known(sightings) {
			if x.River == r.Slug && x.Stage == a.Stage && names(c, x.Group, a.Group) {
				s.Sightings++
			}
		}
		if a.Window.Peak.P50 != 0 && b.Window.Peak.P50 != 0 {
			s.Days = float64(a.Window.Peak.P50 - b.Window.Peak.P50)
		}
		if s.Sightings > 0 || s.Days != 0 {
			shifts = append(shifts, s)
		}
	}
	sort.SliceStable(shifts, func(i, j int) bool {
		a, b := shifts[i], shifts[j]
		return cmp.Or(cmp.Compare(b.Sightings, a.Sightings), cmp.Compare(math.Abs(b.Days), math.Abs(a.Days))) < 0
	})
	return shifts, unused(rec, r, c, sightings, there), nil
}

// names reports whether a name of the diary stands for a group.
func names(c *insects.Catalogue, name, group string) bool {
	g, ok := c.Group(name)
	return ok && slices.ContainsFunc(broodsOf(c, g), func(b *insects.Group) bool { return b.Key == group })
}

func unused(rec Record, r River, c *insects.Catalogue, sightings []Sighting, there map[string]bool) []Unused {
	var out []Unused
	for _, x := range rec.known(sightings) {
		if x.River != r.Slug {
			continue
		}
		why := "unknown group"
		if g, ok := c.Group(x.Group); ok {
			why = "not among the groups forecast for this river"
			if slices.ContainsFunc(broodsOf(c, g), func(b *insects.Group) bool { return there[b.Key] }) {
				continue
			}
		}
		if k := slices.IndexFunc(out, func(u Unused) bool { return u.Group == x.Group }); k >= 0 {
			out[k].Sightings++
			continue
		}
		out = append(out, Unused{x.Group, 1, why})
	}
	return out
}
