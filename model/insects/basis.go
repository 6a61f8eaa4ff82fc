package insects

import (
	"fmt"
	"slices"
	"strings"
)

// Basis is what the dates of a window were collected over. It tells how much of
// the window's length belongs to one reach and how much to the differences
// between the rivers of a region.
type Basis string

// The bases, the narrowest first.
const (
	OneReach       Basis = "one-reach"       // a record or study of one place
	SeveralReaches Basis = "several-reaches" // records or studies of several
	RegionalBook   Basis = "regional-book"   // a book or compilation over a region
	OpenRecords    Basis = "open-records"    // dated sightings, collected by anybody
	Checklist      Basis = "checklist"       // months on a page or in a key
	CommonPractice Basis = "common-practice" // no source
)

// Words is the basis for people.
func (b Basis) Words() string {
	switch b {
	case OneReach:
		return "one reach"
	case SeveralReaches:
		return "several reaches"
	case RegionalBook:
		return "a region's literature"
	case OpenRecords:
		return "dated open records"
	case Checklist:
		return "months in a checklist"
	default:
		return "common practice"
	}
}

// Regional reports that the dates stand for a region and not for one reach: such
// a window may be moved to a river and is longer than the season of one reach.
func (b Basis) Regional() bool { return b != OneReach }

// ReachShare is the share of a window's length that one season takes at one reach,
// by the Breitenbach trap up to 1987. Windows of one reach need no narrowing (1.04;
// thirteen groups, 0.94 to 1.15, 90 %). Regional windows of insects that the trap
// caught, from books, checklists or practice, which it cannot tell apart, are
// longer than a season there (0.62; 0.54 to 0.71; the seasons after 1987 say 0.64).
// Between them three quarters, our own default: the light traps of the Colorado
// have one reach and season with four such groups. forecast/backtest has the test.
func (b Basis) ReachShare() float64 {
	switch b {
	case OneReach:
		return 1
	case SeveralReaches:
		return 0.75
	default:
		return 0.6
	}
}

// origin is the last column of a table, read.
type origin struct {
	basis  Basis
	record string // name of the record behind it; empty for none
	flight bool   // adults on the wing were counted, not emergence
}

// parseBasis reads BASIS, BASIS:RECORD or either with " flight" behind it.
func parseBasis(s string) (o origin, err error) {
	rest, flight := strings.CutSuffix(s, " flight")
	kind, record, named := strings.Cut(rest, ":")
	o = origin{Basis(kind), record, flight}
	if err := oneOf(kind, string(OneReach), string(SeveralReaches), string(RegionalBook), string(OpenRecords), string(Checklist), string(CommonPractice)); err != nil {
		return o, fmt.Errorf("basis: %w", err)
	}
	if named && !isKey(record) {
		return o, fmt.Errorf("basis: %q is not the name of a record; use lower-case letters, digits and hyphens", record)
	}
	return o, nil
}

// basisOf is a fact's basis. A table without that column, such as a reader's
// own, is taken by its grade.
func basisOf(f Fact) (origin, error) {
	if f.Basis != "" {
		return parseBasis(f.Basis)
	}
	switch f.Grade {
	case Measured:
		return origin{basis: OneReach}, nil
	case Published, PartPublished, Derived, Proxy:
		return origin{basis: RegionalBook}, nil
	default:
		return origin{basis: CommonPractice}, nil
	}
}

// Without is the catalogue without what was derived from a record: windows whose basis
// names the record, and the degree-day figures of the same group and region.
// A record must not be scored against itself. Groups that lose their only window
// in a region have no season there any more.
func (c *Catalogue) Without(record string) (*Catalogue, error) {
	type slot struct {
		group  string
		region Region
	}
	gone := map[slot]bool{}
	var facts []Fact
	for _, g := range c.groups {
		for _, f := range g.facts {
			if o, err := basisOf(f); err == nil && o.record == record && record != "" {
				gone[slot{f.Group, f.Region}] = true
			}
		}
	}
	for _, g := range c.groups {
		windows := false
		kept := slices.DeleteFunc(slices.Clone(g.facts), func(f Fact) bool {
			drop := gone[slot{f.Group, f.Region}] && slices.Contains(regional, f.Field)
			windows = windows || !drop && strings.HasPrefix(f.Field, "window.")
			return drop
		})
		if g.Kind == Parent || windows {
			facts = append(facts, kept...)
		}
	}
	out := &Catalogue{sources: c.sources}
	for _, n := range c.names {
		if slices.ContainsFunc(facts, func(f Fact) bool { return f.Group == n.Group }) {
			out.names = append(out.names, n)
		}
	}
	if err := out.build(facts); err != nil {
		return nil, fmt.Errorf("catalogue without the record %q: %w", record, err)
	}
	return out, nil
}

// Records are the names of the records behind windows, sorted.
func (c *Catalogue) Records() []string {
	var out []string
	for _, g := range c.groups {
		for _, w := range g.windows {
			if w.Record != "" && !slices.Contains(out, w.Record) {
				out = append(out, w.Record)
			}
		}
	}
	slices.Sort(out)
	return out
}
