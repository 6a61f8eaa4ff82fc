package forecast

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast/verify"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/openmeteo"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/flow"
)

// FlowService is a public service's forecast of a river's flow.
type FlowService struct {
	Name       string          // for people
	Official   bool            // made by forecasters, who know of dams; else by a model alone
	Members    [][]float64     // daily means, m3/s: members x days from the issue on; NaN where a day is not whole
	LastDayM3s float64         // what the service says of the day before the issue; NaN if nothing
	Past       []flow.Verified // its forecasts of days that have come
}

// serviceKind is a series of forecasts that is used, in order of trust.
type serviceKind struct {
	name     string
	official bool
	is       func(ingest.Key) bool
}

// serviceKinds are the forecasts that are used. The hours of the National Water Model's
// short range do not fill a day.
var serviceKinds = []serviceKind{
	{"official forecast (National Water Prediction Service)", true, ofSeries(nwps.FeedName, nwps.Official)},
	{"National Water Model, medium range", false, ofSeries(nwps.FeedName, nwps.NWM+"medium-range")},
	{"National Water Model, long range", false, ofSeries(nwps.FeedName, nwps.NWM+"long-range")},
	{"Open-Meteo flood model", false, floodModel},
}

func ofSeries(feed, name string) func(ingest.Key) bool {
	return func(k ingest.Key) bool { return k.Feed == feed && k.TimeSeries == name }
}

// floodModel are the series of any model of the flood service.
func floodModel(k ingest.Key) bool {
	return k.Feed == openmeteo.FeedName && strings.HasPrefix(k.TimeSeries, string(openmeteo.Flood))
}

// officialMaxAge is how old an official forecast may be. Our own default: they are
// issued once a day or more often.
const officialMaxAge = 36 * time.Hour

// pastDays is for how long the forecasts of a service are held against the gauge. Our
// own default: long enough for 60 forecasts of a lead, short enough to follow a change
// of its model.
const pastDays = 90

// flowServices reads the newest forecasts of flow by public services, as they were known
// at the issue.
func (g *gatherer) flowServices(stations []FeedSite, rec *Record) ([]FlowService, error) {
	var out []FlowService
	for _, kind := range serviceKinds {
		var keys []ingest.Key // one for each ensemble
		for _, k := range g.keys {
			if k.Variable != ingest.Discharge || k.Statistic != ingest.Mean && k.Statistic != ingest.Instant || !kind.is(k) || !slices.Contains(stations, FeedSite{k.Feed, k.Site}) {
				continue
			}
			k.Member = min(k.Member, 1)
			if !slices.Contains(keys, k) {
				keys = append(keys, k)
			}
		}
		s := FlowService{Name: kind.name, Official: kind.official, LastDayM3s: math.NaN()}
		for _, k := range keys {
			if k.Member == 0 && !kind.official {
				continue // the mean of an ensemble is no member of it
			}
			if err := g.readService(k, rec, &s); err != nil {
				return nil, err
			}
		}
		if len(s.Members) > 0 {
			out = append(out, s)
		}
	}
	return out, nil
}

// readService adds the members of a forecast to s, and how its earlier issues did.
func (g *gatherer) readService(k ingest.Key, rec *Record, s *FlowService) error {
	all, err := g.store.Members(g.ctx, k, series.Query{From: g.issue.Add(-48 * time.Hour), AsOf: g.issue})
	if errors.Is(err, series.ErrNotFound) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("reading %s: %w", k, err)
	}
	var before []float64
	for _, got := range all {
		if got = newestOnly(got); got.Len() == 0 || g.issue.Sub(time.UnixMicro(slices.Max(got.Retrieved))) > officialMaxAge {
			continue
		}
		days, err := g.serviceDays(got)
		if err != nil {
			return err
		}
		var row []float64
		for _, d := range days {
			date := DateOf(d.Date)
			switch i := int(date - rec.Issue); {
			case !d.Complete:
			case i == -1:
				before = append(before, d.Mean)
			case i >= len(row):
				for len(row) < i {
					row = append(row, math.NaN()) // today may have begun before the forecast did
				}
				row = append(row, d.Mean)
			}
		}
		if len(row) > 0 {
			s.Members = append(s.Members, row)
		}
	}
	if len(before) > 0 {
		s.LastDayM3s = mean(before)
	}
	if len(s.Members) > 0 && s.Past == nil {
		s.Past, err = g.verified(k, rec)
	}
	return err
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func (g *gatherer) serviceDays(got ingest.Series) ([]series.Day, error) {
	days, err := series.Days(got, series.DayRule{Zone: g.zone, Slot: stepOf(got), Unchecked: true})
	if err != nil {
		return nil, fmt.Errorf("daily values of %s: %w", got.Key, err)
	}
	return days, nil
}

// newestOnly cuts off what the newest response no longer reached: days that only an
// older forecast has spoken of.
func newestOnly(got ingest.Series) ingest.Series {
	if len(got.Retrieved) == 0 {
		return ingest.Series{}
	}
	newest := slices.Max(got.Retrieved)
	n := got.Len()
	for got.Retrieved[n-1] != newest {
		n--
	}
	return got.Between(time.Time{}, got.At(n-1).Add(time.Microsecond))
}

// stepOf is the usual time between two values of a series, from an hour to a day: values
// of an older issue may stand between those of the newest.
func stepOf(s ingest.Series) time.Duration {
	var steps []time.Duration
	for i := 1; i < s.Len(); i++ {
		steps = append(steps, s.At(i).Sub(s.At(i-1)))
	}
	if len(steps) == 0 {
		return time.Hour
	}
	slices.Sort(steps)
	return min(max(steps[len(steps)/2], time.Hour), 24*time.Hour)
}

// versions is the part of the store that holds superseded forecasts.
type versions interface {
	Versions(ctx context.Context, key ingest.Key, q series.Query, yield func(ingest.Series) error) error
}

// verified pairs the daily means that earlier issues of a forecast gave with those that
// the gauge then measured: of each day the last issue. Of an ensemble the first member
// stands for all.
func (g *gatherer) verified(k ingest.Key, rec *Record) ([]flow.Verified, error) {
	store, ok := g.store.(versions)
	if !ok {
		return nil, nil
	}
	issues := map[int64]*ingest.Series{}
	q := series.Query{From: g.issue.AddDate(0, 0, -pastDays), To: g.issue, AsOf: g.issue}
	err := store.Versions(g.ctx, k, q, func(one ingest.Series) error {
		for i := range one.Time {
			at := one.Retrieved[i]
			if t, ok := nwps.Issued(one.Qualifier[i]); ok {
				at = t.UnixMicro()
			}
			x := issues[at]
			if x == nil {
				x = &ingest.Series{Key: one.Key}
				issues[at] = x
			}
			if n := len(x.Time); n > 0 && x.Time[n-1] == one.Time[i] {
				x.Value[n-1] = one.Value[i]
				continue
			}
			x.Time, x.Value = append(x.Time, one.Time[i]), append(x.Value, one.Value[i])
		}
		return nil
	})
	if errors.Is(err, series.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading earlier forecasts of %s: %w", k, err)
	}
	last := map[Date]int64{} // the newest issue of a day
	for at := range issues {
		day := DateOf(time.UnixMicro(at).In(g.zone))
		last[day] = max(last[day], at)
	}
	var out []flow.Verified
	for day, at := range last {
		days, err := g.serviceDays(*issues[at])
		if err != nil {
			return nil, err
		}
		for _, d := range days {
			date := DateOf(d.Date)
			i := int(date - rec.Day0)
			if !d.Complete || date < day || i < 0 || i >= len(rec.Flow) || math.IsNaN(rec.Flow[i]) || math.IsNaN(d.Mean) {
				continue
			}
			out = append(out, flow.Verified{Lead: int(date-day) + 1, ForecastM3s: d.Mean, ObservedM3s: rec.Flow[i]})
		}
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(cmp.Compare(a.Lead, b.Lead), cmp.Compare(a.ForecastM3s, b.ForecastM3s), cmp.Compare(a.ObservedM3s, b.ObservedM3s)) < 0
	})
	return out, nil
}

// FlowScore is how often a service's forecast of the daily mean came near what the gauge
// then measured.
type FlowScore struct {
	Lead   int `json:"lead_days"` // days ahead: 0 is the day of the issue
	Within int `json:"within_20_percent"`
	Of     int `json:"of_days"`
	// Ratio is the median of forecast over measured flow: 1.3 is a third too high.
	Ratio float64 `json:"median_ratio"`
}

// Near is a forecast within 20 % of what came, and scoreLeads are the days ahead that are
// told. Our own defaults: a gauge's rating is itself good to 5 to 10 %.
const near = 0.20

var scoreLeads = []int{1, 3, 5, 7, 10, 14}

// fewestScores is the least number of days of which a share is shown. Our own default.
const fewestScores = 5

// scoresOf counts how past forecasts did by lead.
func scoresOf(past []flow.Verified) []FlowScore {
	var out []FlowScore
	for _, lead := range scoreLeads {
		s := FlowScore{Lead: lead}
		var ratios []float64
		for _, v := range past {
			if v.Lead != lead+1 || v.ObservedM3s <= 0 {
				continue
			}
			s.Of++
			ratios = append(ratios, v.ForecastM3s/v.ObservedM3s)
			if math.Abs(v.ForecastM3s-v.ObservedM3s) <= near*v.ObservedM3s {
				s.Within++
			}
		}
		if s.Of >= fewestScores {
			slices.Sort(ratios)
			s.Ratio = round(verify.QuantileOfSorted(ratios, 0.5), 100)
			out = append(out, s)
		}
	}
	return out
}

// Reaches lists the services of a record, how far they reach and how they did here.
func (rec Record) Reaches() []FlowReach {
	f := FlowAhead{}
	f.join(rec.Official, math.MaxInt)
	return f.Services
}

// join turns services into what the flow model joins, and notes how far each reaches and
// how it did.
func (f *FlowAhead) join(services []FlowService, ahead int) []flow.Official {
	var out []flow.Official
	last := 0
	for _, s := range services {
		out = append(out, flow.Official{Members: s.Members, Past: s.Past, LastDayM3s: s.LastDayM3s, Untied: !s.Official})
		reach := 0
		for _, row := range s.Members {
			reach = max(reach, len(row))
		}
		if reach = min(reach, ahead); reach > last {
			f.Services, last = append(f.Services, FlowReach{Name: s.Name, Days: reach, Scores: scoresOf(s.Past)}), reach
		}
	}
	return out
}
