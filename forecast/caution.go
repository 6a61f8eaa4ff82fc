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
// before them, the gauger's measurements, and where the flow stands among past
// years. What is missing is left missing; the caution knows what that means.
func CautionInput(ctx context.Context, store Reader, r River, at time.Time) (wading.Input, error) {
	in := wading.Input{Regulated: r.Regulated, RegulatedBy: r.Notices}
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return in, fmt.Errorf("river %s: %w", r.Slug, err)
	}
	keys, err := store.Keys(ctx)
	if err != nil {
		return in, fmt.Errorf("listing what the store holds: %w", err)
	}
	g := gatherer{ctx: ctx, store: store, zone: zone, issue: at, keys: keys}
	if g.asOf, err = g.hadRetrieved(r); err != nil {
		return in, err
	}
	var measured []wading.Measurement
	for _, s := range r.Gauges {
		for _, x := range []struct {
			v    ingest.Variable
			into *wading.Reading
		}{{ingest.Discharge, &in.Flow}, {ingest.GaugeHeight, &in.Stage}, {ingest.WaterTemperature, &in.Water}} {
			if err := g.reading(s, x.v, x.into, &in.History); err != nil {
				return in, fmt.Errorf("reading the gauges of %s: %w", r.Slug, err)
			}
		}
		m, err := g.measurements(s)
		if err != nil {
			return in, fmt.Errorf("reading the channel of %s: %w", r.Slug, err)
		}
		measured = append(measured, m...)
	}
	in.StageOnly = !in.Flow.Present && in.Stage.Present && !g.hasFlow(r)
	if err := g.percentile(r, &in); err != nil {
		return in, fmt.Errorf("flow statistics of %s: %w", r.Slug, err)
	}
	if len(measured) > 0 {
		measured = wading.Merge(measured)
		geometry, err := wading.FitGeometry(measured)
		if errors.Is(err, wading.ErrTooFew) && in.Flow.Present {
			geometry, err = wading.Nearest(measured, in.Flow.Value)
		}
		if err == nil {
			in.Geometry = &geometry
		}
	}
	return in, nil
}

// reading takes the last reading of a variable, whatever its flag: one that
// failed its checks is doubted, not passed over for an older one.
func (g *gatherer) reading(s Station, v ingest.Variable, into *wading.Reading, history *[]wading.Point) error {
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
			return fmt.Errorf("reading %s: %w", k, err)
		}
		for i := range got.Len() {
			age := g.issue.Sub(got.At(i))
			if k.Period == ingest.Daily {
				age -= 24 * time.Hour // the value stands for the day that ends then
			}
			if math.IsNaN(got.Value[i]) || into.Present && age >= into.Age {
				continue
			}
			*into = wading.Reading{Value: got.Value[i], Age: max(0, age), Present: true, Daily: k.Period == ingest.Daily}
			if got.Qualifier != nil && strings.Contains(strings.ToUpper(got.Qualifier[i]), "ICE") {
				into.Doubt = "ice"
			}
			if got.Flag != nil && got.Flag[i] == ingest.Fail {
				into.Doubt = "failed its check: " + got.FlagTest[i]
			}
			switch {
			case k.Period == ingest.Daily:
			case v == ingest.Discharge:
				*history = append(*history, wading.Point{Age: age, FlowM3s: got.Value[i], StageM: math.NaN()})
			case v == ingest.GaugeHeight:
				*history = append(*history, wading.Point{Age: age, FlowM3s: math.NaN(), StageM: got.Value[i]})
			}
		}
	}
	return nil
}

// hasFlow says whether any gauge of the river ever gave a flow.
func (g *gatherer) hasFlow(r River) bool {
	for _, s := range r.Gauges {
		if len(g.of(s, ingest.Discharge)) > 0 {
			return true
		}
	}
	return false
}

// channelSeries begins the name of series that hold a gauger's visits, not the
// gauge's readings.
const channelSeries = "channel-measurements"

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
func (g *gatherer) percentile(r River, in *wading.Input) error {
	if !in.Flow.Present {
		return nil
	}
	var flow column
	for _, s := range r.Gauges {
		if err := g.daily(s, ingest.Discharge, &flow); err != nil {
			return err
		}
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
		if y := d.Time().Year(); gap >= -seasonWindow && gap <= seasonWindow && today-d > 180 && !math.IsNaN(v.Mean) {
			years[y] = true
			n++
			switch {
			case v.Mean < in.Flow.Value:
				below++
			case v.Mean == in.Flow.Value:
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
