package rivers

import (
	"context"
	"fmt"
	"slices"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
)

// Plan says what is issued again.
type Plan struct {
	Rivers    []forecast.River
	Catalogue *insects.Catalogue
	First     int   // season, a calendar year
	Last      int   // season
	Leads     []int // days from issue to target
	Every     int   // days between issues; 0: DefaultEvery
	Members   int   // possible futures; 0: DefaultMembers
	Sightings []forecast.Sighting
	Open      *records.Open           // what open sources recorded; nil: nothing
	Without   []forecast.SightingKind // kinds of sightings that no forecast may know; they still judge
	Sites     []forecast.River        // rivers without a forecast that sightings name
	Now       time.Time               // seasons that have not ended by then are judged by sightings only
	Dir       string                  // where finished slices are kept; "" to keep none
	Workers   int                     // 0: 1; changes no byte of what comes out
	Done      func(done, total int)

	whole   bool // for tests: every outlook has all groups, also those whose season is over
	allDays bool // for tests: every outlook has the chances of all days, also those that nothing reads
}

// The defaults: weekly issues follow a season closely enough, and 50 members
// give a chance to within 0.07, far less when it is averaged over a season.
const (
	DefaultEvery   = 7
	DefaultMembers = 50
)

// diary are the sightings without the time at which they were written down, which
// plays no part where outlooks are made anew: each enters the day after.
func (p *Plan) diary() []forecast.Sighting {
	out := slices.Clone(p.Sightings)
	for i := range out {
		out[i].Recorded = time.Time{}
	}
	return out
}

// Check says what is wrong with a plan, and sets what was left to its default.
func (p *Plan) Check() error {
	if p.Every == 0 {
		p.Every = DefaultEvery
	}
	if p.Members == 0 {
		p.Members = DefaultMembers
	}
	p.Workers = max(1, p.Workers)
	p.Leads = slices.Clone(p.Leads)
	slices.Sort(p.Leads)
	p.Leads = slices.Compact(p.Leads)
	switch {
	case len(p.Rivers) == 0:
		return fmt.Errorf("no rivers to score")
	case p.First > p.Last:
		return fmt.Errorf("seasons %d to %d: first is after last", p.First, p.Last)
	case len(p.Leads) == 0 || p.Leads[0] < 0 || p.Leads[len(p.Leads)-1] > MaxLead:
		return fmt.Errorf("leads %v: use days from 0 to %d", p.Leads, MaxLead)
	case p.Every < 1 || p.Every > 60:
		return fmt.Errorf("every %d days: use 1 to 60", p.Every)
	case p.Members < 10 || p.Members > 5000:
		return fmt.Errorf("%d members: use 10 to 5000", p.Members)
	case p.Now.IsZero():
		return fmt.Errorf("the plan does not say what time it is")
	}
	return nil
}

// MaxLead is the longest lead, days: an outlook looks a year ahead, but beyond
// this nothing of the present season's weather is left in it.
const MaxLead = 120

// Source tells what was known of a river.
type Source interface {
	// Whole is all that is known today.
	Whole(context.Context, forecast.River) (forecast.Record, error)
	// AsOf is what had been retrieved by a moment; false if that is nothing, so
	// that readings must be taken as they are known today.
	AsOf(context.Context, forecast.River, time.Time) (forecast.Record, bool, error)
}

// Stored is the source that reads a series store.
type Stored struct {
	Store forecast.Reader
	Now   time.Time
}

// Whole gathers all that the store holds of a river.
func (s Stored) Whole(ctx context.Context, r forecast.River) (forecast.Record, error) {
	return forecast.Gather(ctx, s.Store, r, s.Now)
}

// AsOf gathers what the store held at a moment.
func (s Stored) AsOf(ctx context.Context, r forecast.River, at time.Time) (forecast.Record, bool, error) {
	known, err := forecast.RetrievedBy(ctx, s.Store, r, at)
	if err != nil || !known {
		return forecast.Record{}, false, err
	}
	rec, err := forecast.Gather(ctx, s.Store, r, at)
	return rec, err == nil && rec.AsOf, err
}

var _ forecast.Reader = (*series.Store)(nil)

// noon is when an outlook is issued: noon of the date at the river.
func noon(r forecast.River, d forecast.Date) time.Time {
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		zone = time.UTC
	}
	t := d.Time()
	return time.Date(t.Year(), t.Month(), t.Day(), 12, 0, 0, 0, zone)
}

func date(year int, month time.Month, day int) forecast.Date {
	return forecast.DateOf(time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
}
