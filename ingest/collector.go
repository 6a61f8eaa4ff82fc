package ingest

import (
	"fmt"
	"math"
	"time"
)

// Collector gathers the readings of one answer into series. Parsers share it,
// so that every feed sorts, drops repeated times, converts units and reports
// what it left out in the same way.
type Collector struct {
	feed      string
	onSkip    func(Skipped)
	byKey     map[Key]*Builder
	order     []*Builder
	skips     map[Skipped]int // Readings is 0 in the key
	skipOrder []Skipped
}

// Builder is a series that a Collector still adds to.
type Builder struct {
	Series
	conv       Conversion
	qualified  bool
	approvable bool
}

// NewCollector begins an answer of a feed. tell may be nil.
func NewCollector(feed string, onSkip func(Skipped)) *Collector {
	return &Collector{feed: feed, onSkip: onSkip, byKey: map[Key]*Builder{}, skips: map[Skipped]int{}}
}

// Skip notes that n readings were left out, and why.
func (c *Collector) Skip(site, what, why string, n int) {
	k := Skipped{Site: site, What: what, Why: why}
	if _, seen := c.skips[k]; !seen {
		c.skipOrder = append(c.skipOrder, k)
	}
	c.skips[k] += n
}

// Open finds or begins the series of k, whose values come in unit as the
// agency writes it. Two units in one series are an error.
func (c *Collector) Open(k Key, unit string) (*Builder, error) {
	if g := c.byKey[k]; g != nil {
		if g.SourceUnit != unit {
			return nil, &Error{Feed: c.feed, Where: k.String(), Problem: fmt.Sprintf("the unit is %q here and %q earlier in the same series", unit, g.SourceUnit), Hint: "a series must have one unit; report it with the saved response"}
		}
		return g, nil
	}
	conv, err := ConversionOf(k.Variable, unit)
	if err != nil {
		return nil, err
	}
	return c.OpenWith(k, unit, conv)
}

// OpenWith is Open for a unit that only the feed's documentation explains.
func (c *Collector) OpenWith(k Key, unit string, conv Conversion) (*Builder, error) {
	if g := c.byKey[k]; g != nil {
		return g, nil
	}
	k.Feed = c.feed
	g := &Builder{Series: Series{Key: k, SourceUnit: unit, Place: SiteInfo{Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}}, conv: conv}
	c.byKey[k] = g
	c.order = append(c.order, g)
	return g, nil
}

// Add appends one reading in the agency's unit; NaN is one without a value.
// at is in microseconds since 1970 UTC.
func (g *Builder) Add(at int64, value float64, qualifier string, a Approval) {
	g.Time = append(g.Time, at)
	g.Value = append(g.Value, g.conv.Apply(value))
	g.Qualifier = append(g.Qualifier, qualifier)
	g.Approval = append(g.Approval, a)
	g.qualified = g.qualified || qualifier != ""
	g.approvable = g.approvable || a != ApprovalUnknown
}

// Finish sorts and checks every series and tells what was left out.
func (c *Collector) Finish() ([]Series, error) {
	out := make([]Series, 0, len(c.order))
	for _, g := range c.order {
		if !g.qualified {
			g.Qualifier = nil
		}
		if !g.approvable {
			g.Approval = nil
		}
		if n := g.Normalize(); n > 0 {
			c.Skip(g.Site, "repeated times of "+g.String(), "the last one was kept", n)
		}
		if err := g.Check(); err != nil {
			return nil, &Error{Feed: c.feed, Where: "answer", Problem: "is not a valid series", Hint: "report it with the saved response", Err: err}
		}
		out = append(out, g.Series)
	}
	if c.onSkip != nil {
		for _, s := range c.skipOrder {
			s.Readings = c.skips[s]
			c.onSkip(s)
		}
	}
	return out, nil
}

// YearInRange keeps out instants that no gauge can have measured and that
// sums over days could not carry: before 1700 or after 2200.
func YearInRange(t time.Time) error {
	if y := t.Year(); y < 1700 || y > 2200 {
		return fmt.Errorf("lies in the year %d", y)
	}
	return nil
}
