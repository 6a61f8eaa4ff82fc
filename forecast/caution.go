package forecast

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// CautionInput gathers what was known of a river's water at a moment, for the
// caution: the last flow, height and temperature with their age, the days before
// them, the gauger's measurements, the gauge's own record, the chance of thunder,
// the light and the official warnings. What is missing is left missing; the
// caution knows what that means.
//
// Flow, height and channel are those of one gauge, for a width measured at one
// bridge says nothing of the flow at another: the first in the river's order that
// ever gave a flow, else the first that gave a height. Where its readings stop no
// other steps in; the others are judged beside it.
func CautionInput(ctx context.Context, store Reader, r River, at time.Time) (wading.Input, error) {
	in := wading.Input{At: at, Regulated: r.Regulated, RegulatedBy: r.Notices, Flood: r.Flood, Light: lightAt(at, r.Lat, r.Lon)}
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return in, fmt.Errorf("river %s: %w", r.Slug, err)
	}
	in.Zone = zone
	keys, err := readableKeys(ctx, store)
	if err != nil {
		return in, fmt.Errorf("listing stored series: %w", err)
	}
	g := gatherer{ctx: ctx, store: store, zone: zone, issue: at, keys: keys}
	if g.asOf, err = g.hadRetrieved(r); err != nil {
		return in, err
	}
	for _, s := range r.Gauges {
		waters, err := g.sensors(s, ingest.WaterTemperature)
		if err != nil {
			return in, fmt.Errorf("reading the gauges of %s: %w", r.Slug, err)
		}
		if len(waters) > 0 && (!in.Water.Present || waters[0].last.Age < in.Water.Age) {
			in.Water = waters[0].last
		}
	}
	if in.Warnings, err = warningsOf(ctx, store, r, at); err != nil {
		return in, err
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
	if in.Flood, err = floodOf(ctx, store, r, s); err != nil {
		return in, err
	}
	if err := g.atGauge(s, &in); err != nil {
		return in, fmt.Errorf("reading the gauge %s of %s: %w", s.Site, r.Slug, err)
	}
	return in, g.otherGauges(r, s, &in)
}

// atGauge adds what one gauge tells: its sensors, its channel and its record.
func (g *gatherer) atGauge(s FeedSite, in *wading.Input) error {
	flows, err := g.sensors(s, ingest.Discharge)
	if err != nil {
		return err
	}
	stages, err := g.sensors(s, ingest.GaugeHeight)
	if err != nil {
		return err
	}
	if len(flows) > 0 {
		in.Flow, in.FlowPast = flows[0].last, flows[0].past
	}
	if len(stages) > 0 {
		in.Stage, in.StagePast = stages[0].last, stages[0].past
	}
	visits, err := g.channel(s, in)
	if err != nil {
		return fmt.Errorf("channel: %w", err)
	}
	if err := g.record(s, visits, in); err != nil {
		return fmt.Errorf("flow statistics: %w", err)
	}
	for i := 1; i < max(len(flows), len(stages)); i++ { // a second sensor of the same kind
		x := *in
		x.Beside = nil
		if i < len(flows) {
			x.Flow, x.FlowPast = flows[i].last, flows[i].past
		}
		if i < len(stages) {
			x.Stage, x.StagePast = stages[i].last, stages[i].past
		}
		in.Beside = append(in.Beside, wading.Beside{Input: x})
	}
	return nil
}

// otherGauges adds the river's gauges other than the one by which it is judged.
// One that has been silent for long counts as taken away. The heights of floods in
// the config are those of the river's own gauge.
func (g *gatherer) otherGauges(r River, own FeedSite, in *wading.Input) error {
	seen := map[FeedSite]bool{own: true}
	r.Flood = wading.NoFlood
	for _, s := range r.Gauges {
		if seen[s] {
			continue
		}
		seen[s] = true
		x := wading.Input{}
		var err error
		if x.Flood, err = floodOf(g.ctx, g.store, r, s); err != nil {
			return err
		}
		flows, err := g.sensors(s, ingest.Discharge)
		if err != nil {
			return fmt.Errorf("reading the gauge %s of %s: %w", s.Site, r.Slug, err)
		}
		x.StageOnly = len(flows) == 0
		if err := g.atGauge(s, &x); err != nil {
			return fmt.Errorf("reading the gauge %s of %s: %w", s.Site, r.Slug, err)
		}
		if !x.Flow.Present && !x.Stage.Present {
			continue
		}
		more := x.Beside
		x.Beside = nil
		in.Beside = append(in.Beside, wading.Beside{Gauge: s.Site, Input: x})
		for _, b := range more {
			in.Beside = append(in.Beside, wading.Beside{Gauge: s.Site, Input: b.Input})
		}
	}
	return nil
}

// flowGauge is the gauge by which the water is judged, and whether it gives a
// flow or only a height.
func (g *gatherer) flowGauge(r River) (s FeedSite, hasFlow, ok bool) {
	for _, v := range []ingest.Variable{ingest.Discharge, ingest.GaugeHeight} {
		for _, s := range r.Gauges {
			if len(g.of(s, v)) > 0 {
				return s, v == ingest.Discharge, true
			}
		}
	}
	return s, false, false
}

// channel fits the gauge's section to the gauger's visits, and returns them.
func (g *gatherer) channel(s FeedSite, in *wading.Input) ([]wading.Measurement, error) {
	measured, err := g.measurements(s)
	if err != nil || len(measured) == 0 {
		return nil, err
	}
	measured = wading.Merge(measured)
	geometry, err := wading.FitGeometry(measured)
	if errors.Is(err, wading.ErrTooFew) {
		geometry, err = wading.Scale(measured)
	}
	if err == nil {
		in.Geometry = &geometry
	}
	if q, n, ok := wading.Ceiling(measured); ok {
		in.CeilingM3s, in.CeilingVisits = q, n
	}
	if !in.StageOnly {
		return measured, nil
	}
	if err := g.heights(s, measured); err != nil {
		return nil, err
	}
	if fit, err := wading.FitStage(measured); err == nil {
		in.StageFit = &fit
	}
	return measured, nil
}

// heightWithin is how near to a visit a height must have been read to be that of
// the visit. Our own default.
const heightWithin = 30 * time.Minute

// heights gives each visit the gauge height that was read nearest to it.
func (g *gatherer) heights(s FeedSite, visits []wading.Measurement) error {
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

// Thunder is looked for so far ahead, in a forecast no older than that. Our own
// default: a day on the water.
const (
	thunderAhead  = 12 * time.Hour
	thunderMaxAge = 24 * time.Hour
)

// thunder is the highest chance of thunder in the hours to come that any stored
// forecast gives, old ones too.
func (g *gatherer) thunder(s FeedSite) (wading.Thunder, error) {
	out := wading.Thunder{Old: true}
	for _, k := range g.of(s, ingest.ThunderProbability) {
		out.Asked = true
		got, err := g.store.Read(g.ctx, k, series.Query{From: g.issue.Add(-time.Hour), To: g.issue.Add(thunderAhead), AsOf: g.issue})
		if errors.Is(err, series.ErrNotFound) {
			continue
		}
		if err != nil {
			return out, fmt.Errorf("reading %s: %w", k, err)
		}
		for i, v := range got.Value {
			if math.IsNaN(v) {
				continue
			}
			if g.issue.Sub(time.UnixMicro(got.Retrieved[i])) <= thunderMaxAge {
				out.Old = false
			}
			if p := min(max(v/100, 0), 1); out.P == nil || p > *out.P {
				out.P = &p
			}
		}
	}
	return out, nil
}

// channelSeries begins the name of series that hold a gauger's visits, not the
// gauge's readings.
const channelSeries = "channel-measurements"

// wadingVisit is the qualifier of a visit at which the gauger stood in the river.
const wadingVisit = "Wading"

// measurements puts the gauger's visits together from their four series.
func (g *gatherer) measurements(s FeedSite) ([]wading.Measurement, error) {
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
			if got.Qualifier != nil && strings.EqualFold(got.Qualifier[i], wadingVisit) {
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
			default: // a measurement keeps nothing else
			}
		}
	}
	var out []wading.Measurement
	for _, visits := range at {
		for _, m := range visits {
			out = append(out, *m)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].At.Compare(out[j].At) < 0 })
	return out, nil
}

// Our own defaults.
const (
	seasonYears = 5   // of record, before they say what is usual at a time of the year
	seasonAfter = 180 // days by which the past seasons lie back
	recordAfter = 30  // days by which the record lies back: a flood must not be its own measure
	fewVisits   = 3   // of the gauger, to compare the gauge with
)

// record tells what the gauge's own past years say of a flow.
func (g *gatherer) record(s FeedSite, visits []wading.Measurement, in *wading.Input) error {
	if in.StageOnly {
		return nil
	}
	var flow column
	if err := g.daily(s, ingest.Discharge, &flow); err != nil {
		return err
	}
	today := DateOf(g.issue.In(g.zone))
	years := map[int]bool{}
	rec := wading.Record{LowM3s: math.Inf(1)}
	run := 0
	for _, d := range slices.Sorted(maps.Keys(flow)) {
		v := flow[d]
		if math.IsNaN(v.mean) || today-d <= recordAfter {
			continue
		}
		rec.Days++
		for _, x := range []float64{v.mean, v.low, v.high} {
			if !math.IsNaN(x) {
				rec.LowM3s, rec.HighM3s = min(rec.LowM3s, x), max(rec.HighM3s, x)
			}
		}
		if before, ok := flow[d-1]; ok && before.mean == v.mean {
			run++
		} else {
			run = 1
		}
		rec.StuckDays = max(rec.StuckDays, run)
		gap := dayOfYear(d) - dayOfYear(today)
		if gap > 182 {
			gap -= 365
		} else if gap < -182 {
			gap += 365
		}
		if gap >= -seasonWindow && gap <= seasonWindow && today-d > seasonAfter {
			years[(d - Date(gap)).Time().Year()] = true // of the anniversary: a window over New Year is one season
			in.Season = append(in.Season, v.mean)
		}
	}
	if in.Years = len(years); in.Years < seasonYears {
		in.Season = nil
	}
	var shares []float64
	for _, m := range visits {
		if v, ok := flow[DateOf(m.At.In(g.zone))]; ok && v.mean > 0 && m.FlowM3s > 0 {
			shares = append(shares, v.mean/m.FlowM3s)
		}
	}
	if len(shares) >= fewVisits {
		slices.Sort(shares)
		rec.VisitShare = shares[len(shares)/2]
	}
	if rec.Days > 0 {
		in.Record = rec
	}
	return nil
}
