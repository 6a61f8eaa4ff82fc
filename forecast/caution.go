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
	"example.org/eclose/model/wading"
)

// CautionInput gathers what was known of a river's water at a moment, for the
// caution: the last flow, height and temperature with their age, the hours
// before them, the gauger's measurements, where the flow stands among past
// years, and the chance of thunder. What is missing is left missing; the caution
// knows what that means.
//
// Flow, height and channel are those of one gauge, for a width measured at one
// bridge says nothing of the flow at another: the first in the river's order that
// ever gave a flow, else the first that gave a height. Where its readings stop no
// other steps in.
func CautionInput(ctx context.Context, store Reader, r River, at time.Time) (wading.Input, error) {
	in := wading.Input{Regulated: r.Regulated, RegulatedBy: r.Notices, Flood: r.Flood}
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return in, fmt.Errorf("river %s: %w", r.Slug, err)
	}
	keys, err := readableKeys(ctx, store)
	if err != nil {
		return in, fmt.Errorf("listing stored series: %w", err)
	}
	g := gatherer{ctx: ctx, store: store, zone: zone, issue: at, keys: keys}
	if g.asOf, err = g.hadRetrieved(r); err != nil {
		return in, err
	}
	for _, s := range r.Gauges {
		if _, err := g.reading(s, ingest.WaterTemperature, &in.Water); err != nil {
			return in, fmt.Errorf("reading the gauges of %s: %w", r.Slug, err)
		}
	}
	if r.Weather != nil {
		if in.Thunder, err = g.thunder(*r.Weather); err != nil {
			return in, fmt.Errorf("reading the weather forecast of %s: %w", r.Slug, err)
		}
	}
	s, hasFlow, ok := g.flowGauge(r)
	if !ok {
		return in, nil
	}
	in.StageOnly = !hasFlow
	if err := g.water(s, &in); err != nil {
		return in, fmt.Errorf("reading the gauge %s of %s: %w", s.Site, r.Slug, err)
	}
	if err := g.channel(s, &in); err != nil {
		return in, fmt.Errorf("reading the channel of %s: %w", r.Slug, err)
	}
	if err := g.percentile(s, &in); err != nil {
		return in, fmt.Errorf("flow statistics of %s: %w", r.Slug, err)
	}
	return in, nil
}

// flowGauge is the gauge by which the water is judged, and whether it gives a
// flow or only a height.
func (g *gatherer) flowGauge(r River) (s Station, hasFlow, ok bool) {
	for _, v := range []ingest.Variable{ingest.Discharge, ingest.GaugeHeight} {
		for _, s := range r.Gauges {
			if len(g.of(s, v)) > 0 {
				return s, v == ingest.Discharge, true
			}
		}
	}
	return s, false, false
}

// water takes the last flow and height of a gauge, and the hours before them.
func (g *gatherer) water(s Station, in *wading.Input) error {
	flow, err := g.reading(s, ingest.Discharge, &in.Flow)
	if err != nil {
		return err
	}
	stage, err := g.reading(s, ingest.GaugeHeight, &in.Stage)
	if err != nil {
		return err
	}
	for _, p := range flow {
		in.History = append(in.History, wading.Point{Age: p.age, FlowM3s: p.value, StageM: math.NaN()})
	}
	for _, p := range stage {
		in.History = append(in.History, wading.Point{Age: p.age, FlowM3s: math.NaN(), StageM: p.value})
	}
	return nil
}

// channel fits the gauge's section to the gauger's visits.
func (g *gatherer) channel(s Station, in *wading.Input) error {
	measured, err := g.measurements(s)
	if err != nil || len(measured) == 0 {
		return err
	}
	measured = wading.Merge(measured)
	geometry, err := wading.FitGeometry(measured)
	if errors.Is(err, wading.ErrTooFew) && in.Flow.Present {
		geometry, err = wading.Nearest(measured, in.Flow.Value)
	}
	if err == nil {
		in.Geometry = &geometry
	}
	if q, n, ok := wading.Ceiling(measured); ok {
		in.CeilingM3s, in.CeilingVisits = q, n
	}
	if !in.StageOnly {
		return nil
	}
	if err := g.heights(s, measured); err != nil {
		return err
	}
	if fit, err := wading.FitStage(measured); err == nil {
		in.StageFit = &fit
	}
	return nil
}

// heightWithin is how near to a visit a height must have been read to be that of
// the visit. Our own default.
const heightWithin = 30 * time.Minute

// heights gives each visit the gauge height that was read nearest to it.
func (g *gatherer) heights(s Station, visits []wading.Measurement) error {
	for _, k := range g.of(s, ingest.GaugeHeight) {
		if k.Period == ingest.Daily {
			continue
		}
		got, err := g.store.Read(g.ctx, k, g.query())
		if errors.Is(err, series.ErrNotFound) {
			continue
		}
		if err != nil {
			return fmt.Errorf("reading %s: %w", k, err)
		}
		for i := range visits {
			m := &visits[i]
			at := m.At.UnixMicro()
			n, _ := slices.BinarySearch(got.Time, at-heightWithin.Microseconds())
			best := heightWithin.Microseconds() + 1
			for ; n < len(got.Time) && got.Time[n] <= at+heightWithin.Microseconds(); n++ {
				if gap := max(got.Time[n]-at, at-got.Time[n]); gap < best && !math.IsNaN(got.Value[n]) && (got.Flag == nil || got.Flag[n] != ingest.Fail) {
					m.StageM, best = got.Value[n], gap
				}
			}
		}
	}
	return nil
}

// aged is a value and how long before the issue it was read.
type aged struct {
	value float64
	age   time.Duration
}

// reading takes the last reading of a variable, whatever its flag: one that
// failed its checks is doubted, not passed over for an older one. It returns the
// series that it comes from, empty where that holds one value a day.
func (g *gatherer) reading(s Station, v ingest.Variable, into *wading.Reading) (past []aged, err error) {
	for _, k := range g.of(s, v) {
		if k.Statistic != ingest.Instant && k.Statistic != ingest.Mean {
			continue
		}
		q := g.query()
		q.From = g.issue.AddDate(0, 0, -3)
		got, err := g.store.Read(g.ctx, k, q)
		if errors.Is(err, series.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", k, err)
		}
		daily := k.Period == ingest.Daily
		var all []aged // oldest first
		last := -1
		for i, v := range got.Value {
			if math.IsNaN(v) {
				continue
			}
			age := g.issue.Sub(got.At(i))
			if daily {
				age -= 24 * time.Hour // the value stands for the day that ends then
			}
			all, last = append(all, aged{v, max(0, age)}), i
		}
		if last < 0 || into.Present && all[len(all)-1].age >= into.Age {
			continue
		}
		*into = wading.Reading{Value: got.Value[last], Age: all[len(all)-1].age, Present: true, Daily: daily}
		if got.Qualifier != nil && strings.Contains(strings.ToUpper(got.Qualifier[last]), "ICE") {
			into.Doubt = "ice"
		}
		if got.Flag != nil && got.Flag[last] == ingest.Fail {
			into.Doubt = "failed check " + got.FlagTest[last]
		}
		if past = all; daily {
			past = nil
		}
	}
	return past, nil
}

// Thunder is looked for so far ahead, in a forecast no older than that. Our own
// default: a day on the water.
const (
	thunderAhead  = 12 * time.Hour
	thunderMaxAge = 24 * time.Hour
)

// thunder is the highest chance of thunder in the hours to come, nil where no
// fresh forecast covers them.
func (g *gatherer) thunder(s Station) (*float64, error) {
	var out *float64
	for _, k := range g.of(s, ingest.ThunderProbability) {
		got, err := g.store.Read(g.ctx, k, series.Query{From: g.issue.Add(-time.Hour), To: g.issue.Add(thunderAhead), AsOf: g.issue})
		if errors.Is(err, series.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", k, err)
		}
		for i, v := range got.Value {
			if math.IsNaN(v) || g.issue.Sub(time.UnixMicro(got.Retrieved[i])) > thunderMaxAge {
				continue
			}
			if p := min(max(v/100, 0), 1); out == nil || p > *out {
				out = &p
			}
		}
	}
	return out, nil
}

// channelSeries begins the name of series that hold a gauger's visits, not the
// gauge's readings.
const channelSeries = "channel-measurements"

// standing is the qualifier of a visit at which the gauger stood in the river.
const standing = "Wading"

// measurements puts the gauger's visits together from their four series.
func (g *gatherer) measurements(s Station) ([]wading.Measurement, error) {
	at := map[string]map[int64]*wading.Measurement{}
	for _, k := range g.keys {
		if k.Feed != s.Feed || k.Site != s.Site || !strings.HasPrefix(k.TimeSeries, channelSeries) {
			continue
		}
		got, err := g.store.Read(g.ctx, k, g.query())
		if errors.Is(err, series.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", k, err)
		}
		visits := at[k.TimeSeries]
		if visits == nil {
			visits = map[int64]*wading.Measurement{}
			at[k.TimeSeries] = visits
		}
		for i, t := range got.Time {
			m := visits[t]
			if m == nil {
				m = &wading.Measurement{ID: fmt.Sprint(t), At: got.At(i), FlowM3s: math.NaN(), WidthM: math.NaN(), AreaM2: math.NaN(), VelocityMS: math.NaN(), StageM: math.NaN()}
				visits[t] = m
			}
			if got.Qualifier != nil && strings.EqualFold(got.Qualifier[i], standing) {
				m.Wading = true
			}
			switch k.Variable {
			case ingest.ChannelWidth:
				m.WidthM = got.Value[i]
			case ingest.ChannelArea:
				m.AreaM2 = got.Value[i]
			case ingest.ChannelVelocity:
				m.VelocityMS = got.Value[i]
			case ingest.Discharge:
				m.FlowM3s = got.Value[i]
			}
		}
	}
	var out []wading.Measurement
	for _, visits := range at {
		for _, m := range visits {
			out = append(out, *m)
		}
	}
	slices.SortFunc(out, func(a, b wading.Measurement) int { return a.At.Compare(b.At) })
	return out, nil
}

// percentileYears is the least record for a percentile to say anything. Our own
// default.
const percentileYears = 5

// percentile puts the last flow among the daily flows of past years within a
// week of the date.
func (g *gatherer) percentile(s Station, in *wading.Input) error {
	if !in.Flow.Present {
		return nil
	}
	var flow column
	if err := g.daily(s, ingest.Discharge, &flow); err != nil {
		return err
	}
	today := DateOf(g.issue.In(g.zone))
	below, n := 0.0, 0.0
	years := map[int]bool{}
	for d, v := range flow {
		gap := dayOfYear(d) - dayOfYear(today)
		if gap > 182 {
			gap -= 365
		} else if gap < -182 {
			gap += 365
		}
		if y := d.Time().Year(); gap >= -seasonWindow && gap <= seasonWindow && today-d > 180 && !math.IsNaN(v.mean) {
			years[y] = true
			n++
			switch {
			case v.mean < in.Flow.Value:
				below++
			case v.mean == in.Flow.Value:
				below += 0.5
			}
		}
	}
	if len(years) >= percentileYears {
		p := 100 * below / n
		in.Percentile, in.Years = &p, len(years)
	}
	return nil
}
