package trip

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// What a day is worth being there for: chance times what the stage means to an angler,
// the second best of the day counting half, the third a quarter, since a rod is in one
// place at a time. A worth orders and is never printed. All numbers are our own
// defaults; the ranks behind them are common practice, no source.
const (
	nextCounts = 0.5
	// darkCounts is what a stage still counts whose hours lie in the night.
	darkCounts = 0.3
	// backgroundCounts is what counts that is there all year or all season, as midges
	// are: it fills a day and is no reason to travel.
	backgroundCounts = 0.05
)

// rankCounts is what a stage of each rank of the catalogue counts; see insects.Group.Worth.
var rankCounts = [...]float64{1: 1, 2: 0.6, 3: 0.3, 4: 0.1}

// counts is what a stage counts at a river on a day of certain success.
func counts(ask Ask, o *forecast.Outlook, s *forecast.StageOutlook, g *insects.Group) float64 {
	if len(ask.Groups) > 0 {
		return 1 // the reader's own list outdoes common practice
	}
	w := rankCounts[3]
	if g != nil {
		w = rankCounts[g.Worth(insects.Stage(s.Stage))]
	}
	if Background(s, g) {
		w = min(w, backgroundCounts)
	}
	if d := s.Window.Peak.P50; d != 0 {
		w *= darkCounts + (1-darkCounts)*forecast.LitShare(s.Hours, d, o.Zone, o.Lat, o.Lon)
	}
	return w
}

// Background reports whether a stage is there all year or without a season of its own,
// as most midges are. It never leads.
func Background(s *forecast.StageOutlook, g *insects.Group) bool {
	return s.AllYear || g != nil && g.Kind == insects.Continuous
}

// travelFrom is what a stage counts from which it is one to travel for: the first two
// ranks by day. Our own default.
const travelFrom = 0.5

// worthOf is what some stages of a day are worth together.
func worthOf(weighted []float64) float64 {
	slices.SortFunc(weighted, func(a, b float64) int { return cmp.Compare(b, a) })
	sum, share := 0.0, 1.0
	for _, w := range weighted {
		sum += share * w
		share *= nextCounts
	}
	return sum
}

// Named is how many stages of a stay are named, and namedFrom the least chance of one
// that is. Our own defaults.
const (
	Named     = 3
	namedFrom = 0.05
)

// name puts the stages of a stay in the order of what they are worth and works out the
// chance that at least one of those named shows.
func (s *Stay) name() {
	sort.SliceStable(s.Likely, func(i, j int) bool {
		a, b := s.Likely[i], s.Likely[j]
		return cmp.Or(cmp.Compare(b.worth, a.worth), cmp.Compare(b.Chance, a.Chance)) < 0
	})
	s.choose()
	n := float64(s.To-s.From) + 1
	for d := s.From; d <= s.To; d++ {
		p, calendar := atLeastOne(s.Best(), d)
		s.Chance += p / n
		s.Calendar += calendar / n
	}
	for _, l := range s.Best() {
		s.AtLeast = max(s.AtLeast, l.Chance)
	}
}

// choose puts those that are named first: the worthiest insects, and only then the other
// stage of one of them. What is there all year is named where nothing else shows.
func (s *Stay) choose() {
	rank := func(l Likely, seen map[string]bool) int {
		switch {
		case l.Chance < namedFrom:
			return 3
		case l.background:
			return 2
		case seen[l.Group]:
			return 1
		}
		return 0
	}
	var first [4][]Likely
	seen := map[string]bool{}
	for _, l := range s.Likely {
		k := rank(l, seen)
		seen[l.Group] = true
		first[k] = append(first[k], l)
	}
	s.named = min(Named, len(first[0])+len(first[1]))
	if s.named == 0 {
		s.named = min(1, len(first[2]))
	}
	s.Likely = slices.Concat(first[0], first[1], first[2], first[3])
}

// atLeastOne is the chance that at least one of some stages shows on a day, by the water
// and by the calendar alone. Of one group the likelier stage counts; groups are taken as
// independent, since each has parameters of its own.
func atLeastOne(stages []Likely, d forecast.Date) (p, calendar float64) {
	best := map[string][2]float64{}
	var groups []string // in order: the last bit of a product depends on it
	for _, l := range stages {
		x, _ := l.stage.On(d)
		have, ok := best[l.Group]
		if !ok {
			groups = append(groups, l.Group)
		}
		best[l.Group] = [2]float64{max(have[0], x.P), max(have[1], x.PCalendar)}
	}
	none, noneCalendar := 1.0, 1.0
	for _, g := range groups {
		none *= 1 - best[g][0]
		noneCalendar *= 1 - best[g][1]
	}
	return 1 - none, 1 - noneCalendar
}

// Best are the stages of a stay that are named, what is most worth being there for first.
func (s *Stay) Best() []Likely { return s.Likely[:s.named] }

// leastError is the share of a stay's worth by which it errs at the least. Our own default.
const leastError = 0.1

// usualError is by how much a stay's worth usually errs: half of what it changes between
// a season that runs a standard deviation early and one that runs as late.
func (d *days) usualError(s *Stay) float64 {
	early, late := d.worthShifted(s, 1), d.worthShifted(s, -1)
	return max(leastError*s.Worth, math.Abs(early-late)/2, math.Abs(early-s.Worth)/2, math.Abs(late-s.Worth)/2)
}

// worthShifted is a stay's worth in a season that runs so many standard deviations early.
func (d *days) worthShifted(s *Stay, sds float64) float64 {
	sum := 0.0
	for at := s.From; at <= s.To; at++ {
		weighted := make([]float64, 0, len(d.stages))
		for k, st := range d.stages {
			sd := float64(st.Window.Peak.P90-st.Window.Peak.P10) / 2.563
			if x, ok := st.On(at + forecast.Date(math.Round(sds*sd))); ok {
				weighted = append(weighted, d.weight[k]*x.P)
			}
		}
		sum += worthOf(weighted) * d.open[at-d.day0]
	}
	return sum / (float64(s.To-s.From) + 1)
}
