package forecast

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/flow"
	"example.org/eclose/model/wading"
	"example.org/eclose/model/watertemp"
)

// River is what the forecast must know of a river.
type River struct {
	Slug, Name string
	Region     string // of the catalogue; "" to take it from the place
	Zone       string // IANA
	Lat, Lon   float64
	ElevationM *float64 // above the sea; nil to take that of the gauge or the weather, where it is known
	Groups     []string // keys of the catalogue; empty for all of the region
	Gauges     []FeedSite
	Weather    *FeedSite
	Regulated  bool         // below a dam, by the user's own word
	Notices    string       // where local notices are published
	Warnings   string       // feed of official warnings; "" if none is known
	Fishable   flow.Range   // the owner's, m3/s; zero: none named
	FlowAhead  []FeedSite   // official forecasts of its flow
	Flood      wading.Flood // heights at the gauge from which floods are counted; zero: none known
	// Near are rivers of which one may be the donor of its water model where this one's
	// record is too short for its own. It may hold the river itself.
	Near []River
}

// FeedSite is a feed's site.
type FeedSite struct{ Feed, Site string }

// Reader is the part of the series store that a forecast reads.
type Reader interface {
	Keys(context.Context) ([]ingest.Key, error)
	Read(context.Context, ingest.Key, series.Query) (ingest.Series, error)
	Members(context.Context, ingest.Key, series.Query) ([]ingest.Series, error)
	Daily(context.Context, ingest.Key, series.Query, series.DayRule) ([]series.Day, error)
}

// Record is a river's daily history as it was known at an issue time, and the
// weather forecast of that time. All columns begin at Day0; NaN is unknown.
type Record struct {
	Day0     Date
	Issue    Date // the local date of the issue: the first day that is not over
	IssuedAt time.Time
	Cutoff   time.Time // the newest reading used
	AsOf     bool      // readings as retrieved by then; otherwise as known today

	Air, Water, WaterMax, WaterMin, Flow []float64     // °C, m3/s, up to the day before Issue
	AirAhead                             [][]float64   // members x days from Issue on; may be empty
	Rain                                 []float64     // mm, as Air; may be empty
	Official                             []FlowService // forecasts of flow by public services, in order of trust; may be empty

	FlowNow, WaterNow Reading // the last of each before the issue

	Turbidity    []float64 // FNU by day, as Air; may be empty
	TurbidityNow Reading

	ElevationM  *float64 // of the gauge, or of the weather's cell; nil if unknown
	DrainageKm2 float64  // what drains to the gauge of the flow; 0 if unknown

	// Donor is the water model of a river near by, where the record is too short
	// for one of its own, and DonorName that river's name.
	Donor     *watertemp.Model
	DonorName string
}

// Reading is one value and its time. A zero time means that there is none.
type Reading struct {
	Value float64
	At    time.Time
}

// weatherDays is how many days a weather forecast must cover to be used: fewer
// say little that the last observation does not.
const weatherDays = 3

// Gather reads what was known of a river at the issue time: readings up to it,
// in the state in which they had been retrieved by then. Where nothing had been
// retrieved by then, because the history was fetched later, readings are taken
// as they are known today, and Record.AsOf is false.
func Gather(ctx context.Context, store Reader, r River, issue time.Time) (Record, error) {
	g, err := gathererOf(ctx, store, r, issue)
	if err != nil {
		return Record{}, err
	}
	rec := Record{Issue: DateOf(issue.In(g.zone)), IssuedAt: issue.UTC(), AsOf: g.asOf}
	var water, discharge, turbidity, air, rain column
	for _, s := range r.Gauges {
		if err := errors.Join(g.daily(s, ingest.WaterTemperature, &water), g.daily(s, ingest.Discharge, &discharge), g.daily(s, ingest.Turbidity, &turbidity)); err != nil {
			return Record{}, fmt.Errorf("reading the gauges of %s: %w", r.Slug, err)
		}
		if err := errors.Join(g.last(s, ingest.WaterTemperature, &rec.WaterNow), g.last(s, ingest.Discharge, &rec.FlowNow), g.last(s, ingest.Turbidity, &rec.TurbidityNow)); err != nil {
			return Record{}, fmt.Errorf("reading the gauges of %s: %w", r.Slug, err)
		}
	}
	if r.Weather != nil {
		if err := g.daily(*r.Weather, ingest.AirTemperature, &air); err != nil {
			return Record{}, fmt.Errorf("reading the weather of %s: %w", r.Slug, err)
		}
		if err := g.rain(*r.Weather, &rain); err != nil {
			return Record{}, fmt.Errorf("reading the rain of %s: %w", r.Slug, err)
		}
		if rec.AirAhead, err = g.members(*r.Weather, rec.Issue); err != nil {
			return Record{}, fmt.Errorf("reading the weather forecast of %s: %w", r.Slug, err)
		}
	}
	for _, s := range append(slices.Clone(r.Gauges), feedSites(r.Weather)...) {
		if rec.ElevationM, err = g.told(s, func(p ingest.SiteInfo) float64 { return p.Elevation }); err != nil {
			return Record{}, fmt.Errorf("reading the height of %s: %w", r.Slug, err)
		}
		if rec.ElevationM != nil {
			break
		}
	}
	if rec.DrainageKm2, err = g.drainage(r.Gauges); err != nil {
		return Record{}, fmt.Errorf("reading the drained area of %s: %w", r.Slug, err)
	}
	first := firstOf(rec.Issue, water, discharge, air)
	rec.Day0 = first
	n := int(rec.Issue - first)
	rec.Water, rec.WaterMin, rec.WaterMax = water.spread(first, n)
	rec.Flow, _, _ = discharge.spread(first, n)
	rec.Air, _, _ = air.spread(first, n)
	rec.Rain, _, _ = rain.spread(first, n)
	rec.Turbidity, _, _ = turbidity.spread(first, n)
	rec.Cutoff = g.newest
	if rec.Official, err = g.flowServices(r.FlowAhead, &rec); err != nil {
		return Record{}, fmt.Errorf("reading the official forecast of %s: %w", r.Slug, err)
	}
	if len(r.Near) > 0 && rec.young() {
		if rec.Donor, rec.DonorName, err = FindDonor(ctx, store, r, r.Near, issue); err != nil {
			return Record{}, err
		}
	}
	return rec, nil
}

// PastFlow is the daily flow that Gather finds, m3/s, from its first day of water, flow or
// air to the day before the issue; NaN where none is known.
func PastFlow(ctx context.Context, store Reader, r River, issue time.Time) (day0 Date, m3s []float64, err error) {
	g, err := gathererOf(ctx, store, r, issue)
	if err != nil {
		return 0, nil, err
	}
	var water, discharge, air column
	for _, s := range r.Gauges {
		if err := errors.Join(g.daily(s, ingest.WaterTemperature, &water), g.daily(s, ingest.Discharge, &discharge)); err != nil {
			return 0, nil, fmt.Errorf("reading the gauges of %s: %w", r.Slug, err)
		}
	}
	if r.Weather != nil {
		if err := g.daily(*r.Weather, ingest.AirTemperature, &air); err != nil {
			return 0, nil, fmt.Errorf("reading the weather of %s: %w", r.Slug, err)
		}
	}
	last := DateOf(issue.In(g.zone))
	day0 = firstOf(last, water, discharge, air)
	m3s, _, _ = discharge.spread(day0, int(last-day0))
	return day0, m3s, nil
}

// firstOf is the first day of some columns; issue where they have none before it.
func firstOf(issue Date, columns ...column) Date {
	for _, c := range columns {
		if len(c) > 0 {
			issue = min(issue, c.first())
		}
	}
	return issue
}

// gathererOf reads what was known of a river at its issue.
func gathererOf(ctx context.Context, store Reader, r River, issue time.Time) (*gatherer, error) {
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return nil, fmt.Errorf("river %s: %w", r.Slug, err)
	}
	keys, err := readableKeys(ctx, store)
	if err != nil {
		return nil, fmt.Errorf("listing what the store holds: %w", err)
	}
	g := &gatherer{ctx: ctx, store: store, zone: zone, issue: issue, keys: keys}
	if g.asOf, err = g.hadRetrieved(r); err != nil {
		return nil, err
	}
	return g, nil
}

// column gathers daily values of one variable by date.
type column map[Date]dayValue

// dayValue is what a day's readings come to; NaN is unknown.
type dayValue struct{ mean, low, high float64 }

func (c column) first() Date {
	first := Date(math.MaxInt)
	for d := range c {
		first = min(first, d)
	}
	return first
}

func (c column) spread(first Date, n int) (mean, low, high []float64) {
	mean, low, high = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		mean[i], low[i], high[i] = math.NaN(), math.NaN(), math.NaN()
		if d, ok := c[first+Date(i)]; ok {
			mean[i], low[i], high[i] = d.mean, d.low, d.high
		}
	}
	return mean, low, high
}

type gatherer struct {
	ctx    context.Context
	store  Reader
	zone   *time.Location
	issue  time.Time
	asOf   bool
	keys   []ingest.Key
	newest time.Time
}

func (g *gatherer) query() series.Query {
	q := series.Query{To: g.issue}
	if g.asOf {
		q.AsOf = g.issue
	}
	return q
}

// hadRetrieved says whether the store already held something of the river's
// gauges at the issue time.
func (g *gatherer) hadRetrieved(r River) (bool, error) {
	for _, s := range r.Gauges {
		for _, k := range g.of(s, ingest.WaterTemperature, ingest.Discharge, ingest.GaugeHeight) {
			got, err := g.store.Read(g.ctx, k, series.Query{From: g.issue.AddDate(0, -2, 0), To: g.issue, AsOf: g.issue})
			if err != nil && !errors.Is(err, series.ErrNotFound) {
				return false, fmt.Errorf("reading %s: %w", k, err)
			}
			if got.Len() > 0 {
				return true, nil
			}
		}
	}
	return false, nil
}

func (g *gatherer) of(s FeedSite, vars ...ingest.Variable) []ingest.Key {
	var out []ingest.Key
	for _, k := range g.keys {
		if k.Feed == s.Feed && k.Site == s.Site && k.Member == 0 && slices.Contains(vars, k.Variable) && !strings.HasPrefix(k.TimeSeries, channelSeries) {
			out = append(out, k)
		}
	}
	return out
}

// daily adds the days of every series of a variable. Where two series cover a
// day the more finely measured one wins, and then the one that comes first.
func (g *gatherer) daily(s FeedSite, v ingest.Variable, into *column) error {
	keys := g.of(s, v)
	slices.SortStableFunc(keys, func(a, b ingest.Key) int { return rank(a) - rank(b) })
	for _, k := range keys {
		if k.Statistic == ingest.Sum {
			continue
		}
		// A weather model's past is not measured, so no check has looked at it.
		days, err := g.store.Daily(g.ctx, k, g.query(), series.DayRule{Zone: g.zone, Unchecked: v == ingest.AirTemperature})
		if err != nil {
			return fmt.Errorf("daily values of %s: %w", k, err)
		}
		if len(*into) == 0 {
			*into = make(column, len(days))
		}
		today := DateOf(g.issue.In(g.zone))
		for _, d := range days {
			if date := DateOf(d.Date); d.Complete && date < today {
				into.fill(date, k, d)
			}
		}
	}
	for date, d := range *into {
		// Many old records hold only the day's extremes: their middle stands in
		// for the mean.
		if math.IsNaN(d.mean) {
			d.mean = (d.low + d.high) / 2
			(*into)[date] = d
		}
	}
	return nil
}

// fill puts in what a series says of a date, where nothing better is known.
func (c column) fill(date Date, k ingest.Key, d series.Day) {
	have, ok := c[date]
	if !ok {
		have = dayValue{math.NaN(), math.NaN(), math.NaN()}
	}
	set := func(to *float64, v float64) {
		if math.IsNaN(*to) {
			*to = v
		}
	}
	switch {
	case k.Period != ingest.Daily:
		set(&have.mean, d.Mean)
		set(&have.low, d.Min)
		set(&have.high, d.Max)
	case k.Statistic == ingest.Min:
		set(&have.low, d.Mean)
	case k.Statistic == ingest.Max:
		set(&have.high, d.Mean)
	default:
		set(&have.mean, d.Mean)
	}
	c[date] = have
}

// rank puts measured series first, then daily values, then what a forecast
// says of the days just past.
func rank(k ingest.Key) int {
	switch {
	case k.TimeSeries == "forecast":
		return 2
	case k.Period == ingest.Daily:
		return 1
	}
	return 0
}

// last finds the newest usable reading of a variable within ten days.
func (g *gatherer) last(s FeedSite, v ingest.Variable, into *Reading) error {
	for _, k := range g.of(s, v) {
		q := g.query()
		q.From = g.issue.AddDate(0, 0, -10)
		got, err := g.store.Read(g.ctx, k, q)
		if errors.Is(err, series.ErrNotFound) {
			continue
		}
		if err != nil {
			return fmt.Errorf("reading %s: %w", k, err)
		}
		for i := got.Len() - 1; i >= 0; i-- {
			if math.IsNaN(got.Value[i]) || got.Flag != nil && got.Flag[i] == ingest.Fail {
				continue
			}
			if at := got.At(i); at.After(into.At) {
				*into = Reading{Value: got.Value[i], At: at}
			}
			break
		}
		if into.At.After(g.newest) {
			g.newest = into.At
		}
	}
	return nil
}

func feedSites(s *FeedSite) []FeedSite {
	if s == nil {
		return nil
	}
	return []FeedSite{*s}
}

// drainage is what drains to the first of a river's gauges that measures its flow, km2; 0
// if its feed does not tell.
func (g *gatherer) drainage(gauges []FeedSite) (float64, error) {
	for _, s := range gauges {
		if len(g.of(s, ingest.Discharge)) == 0 {
			continue
		}
		area, err := g.told(s, func(p ingest.SiteInfo) float64 { return p.Drainage })
		if area == nil {
			return 0, err
		}
		return *area, nil
	}
	return 0, nil
}

// told is what a feed tells of a site; nil if it does not.
func (g *gatherer) told(s FeedSite, of func(ingest.SiteInfo) float64) (*float64, error) {
	for _, k := range g.keys {
		if k.Feed != s.Feed || k.Site != s.Site {
			continue
		}
		// No reading is wanted, only what is known of the place.
		got, err := g.store.Read(g.ctx, k, series.Query{From: g.issue, To: g.issue})
		if err != nil && !errors.Is(err, series.ErrNotFound) {
			return nil, fmt.Errorf("reading %s: %w", k, err)
		}
		if x := of(got.Place); err == nil && x != 0 && !math.IsNaN(x) {
			return &x, nil
		}
	}
	return nil, nil
}

// members reads the newest weather ensemble as daily means of local days.
func (g *gatherer) members(s FeedSite, issue Date) ([][]float64, error) {
	// A forecast that came later must not be seen; one that came long before is no
	// forecast of these days.
	q := series.Query{From: g.issue.Add(-24 * time.Hour), AsOf: g.issue}
	var all []ingest.Series
	read := map[ingest.Key]bool{}
	for _, k := range g.keys {
		if k.Feed != s.Feed || k.Site != s.Site || k.Variable != ingest.AirTemperature || k.Member == 0 {
			continue
		}
		first := k
		first.Member = 1
		if read[first] {
			continue
		}
		read[first] = true
		got, err := g.store.Members(g.ctx, k, q)
		if err != nil && !errors.Is(err, series.ErrNotFound) {
			return nil, fmt.Errorf("reading the ensemble of %s: %w", k, err)
		}
		all = append(all, got...)
	}
	var out [][]float64
	for _, got := range all {
		days, err := series.Days(got, series.DayRule{Zone: g.zone, Unchecked: true})
		if err != nil {
			return nil, fmt.Errorf("daily values of %s: %w", got.Key, err)
		}
		var row []float64
		for _, d := range days {
			if date := DateOf(d.Date); date >= issue && d.Complete && int(date-issue) == len(row) {
				row = append(row, d.Mean)
			}
		}
		if len(row) >= weatherDays {
			out = append(out, row)
		}
	}
	return out, nil
}
