package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"os"
	"slices"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/feed/openmeteo"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

type forecastCmd struct {
	configFlag
	IssueDate string   `help:"Forecast as of noon local time on this date, from data known then." placeholder:"YYYY-MM-DD"`
	River     []string `aliases:"rivers" help:"Only these rivers." placeholder:"NAME"`
	Format    string   `default:"table" enum:"table,json,csv,parquet" help:"One of ${enum}."`
	Out       string   `help:"Write to this file instead of the terminal." placeholder:"FILE" type:"path"`
	All       bool     `help:"List every stage in the year, including those that are not fishable."`
	Members   int      `default:"200" help:"Ensemble size (10 to 5000)."`
}

func (c forecastCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	if c.Members < 10 || c.Members > 5000 {
		return usagef("--members %d: use 10 to 5000", c.Members)
	}
	if c.Format == "parquet" && c.Out == "" {
		return usagef("--format parquet needs --out FILE")
	}
	outlooks, err := issueAll(e.ctx, cfg, c.River, c.IssueDate, e.now(), c.Members)
	if err != nil {
		return err
	}
	return c.write(e, cfg, outlooks)
}

// issueAll makes the outlook of each river that is asked for.
func issueAll(ctx context.Context, cfg *config.Config, only []string, date string, now time.Time, members int) ([]*forecast.Outlook, error) {
	catalogue, err := loadCatalogue(cfg)
	if err != nil {
		return nil, usageError{err}
	}
	rivers, err := riversOf(cfg, only)
	if err != nil {
		return nil, usageError{err}
	}
	at := make([]time.Time, len(rivers))
	for i, r := range rivers {
		if at[i], err = issueTime(r, date, now); err != nil {
			return nil, usageError{err}
		}
	}
	sightings, err := sightingsOf(ctx, cfg, now)
	if err != nil {
		return nil, err
	}
	store, err := series.Open(ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return nil, fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	var out []*forecast.Outlook
	for i, r := range rivers {
		o, err := forecast.Issue(ctx, store, r, catalogue, at[i], forecast.Options{Members: members, Sightings: sightings})
		if err != nil {
			return nil, err
		}
		out = append(out, o)
	}
	return out, nil
}

func loadCatalogue(cfg *config.Config) (*insects.Catalogue, error) {
	c, err := insects.Load()
	if err != nil {
		return nil, fmt.Errorf("loading the insect catalogue: %w", err)
	}
	if cfg.Insects == "" {
		return c, nil
	}
	f, err := os.Open(cfg.Path(cfg.Insects))
	if err != nil {
		return nil, fmt.Errorf("reading your own insect groups: %w", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	return c.Overlay(cfg.Insects, f)
}

// riversOf turns the config's rivers into what the forecast must know of them.
// Any river of the config may lend its water model to any other.
func riversOf(cfg *config.Config, only []string) ([]forecast.River, error) {
	all := make([]forecast.River, len(cfg.Rivers))
	at := map[string]int{}
	for i, r := range cfg.Rivers {
		f, err := riverOf(r, cfg.Units)
		if err != nil {
			return nil, err
		}
		f.Warnings, _, _ = cfg.WarningsOf(r)
		all[i], at[r.Slug] = f, i
	}
	out := slices.Clone(all)
	if len(only) > 0 {
		out = out[:0]
		for _, name := range only {
			r, err := cfg.River(name)
			if err != nil {
				return nil, err
			}
			out = append(out, all[at[r.Slug]])
		}
	}
	for i := range out {
		out[i].Near = all
	}
	return out, nil
}

// forecastsFlow are the feeds whose stations give forecasts of flow and measure none.
var forecastsFlow = map[string]bool{openmeteo.FeedName: true, "nwps": true}

func riverOf(r config.River, units string) (forecast.River, error) {
	region := insects.Region("")
	if r.Region != "" {
		var err error
		if region, err = insects.ParseRegion(r.Region); err != nil {
			return forecast.River{}, fmt.Errorf("river %q: %w", r.Name, err)
		}
	}
	f := forecast.River{Slug: r.Slug, Name: r.Name, Region: string(region), Zone: r.Zone, Lat: r.Lat, Lon: r.Lon, ElevationM: r.Elevation,
		Groups: r.Groups, Regulated: r.Regulated, Notices: r.Notices, Fishable: r.FishableM3s(units)}
	if r.Flood != nil {
		h := r.Flood.Metres()
		f.Flood = wading.Flood{ActionM: h[0], MinorM: h[1], ModerateM: h[2], MajorM: h[3]}
	}
	for _, g := range r.Gauges {
		site, err := sources.Site(g)
		if err != nil {
			return forecast.River{}, err
		}
		station := forecast.Station{Feed: g.Feed, Site: site}
		if forecastsFlow[g.Feed] {
			if g.Feed == openmeteo.FeedName {
				station.Site = fmt.Sprintf("%g,%g", r.Lat, r.Lon)
			}
			f.FlowAhead = append(f.FlowAhead, station)
			continue
		}
		f.Gauges = append(f.Gauges, station)
	}
	if w := r.Weather; w != nil {
		s := forecast.Station{Feed: w.Feed, Site: w.Site}
		if s.Site == "" {
			s.Site = fmt.Sprintf("%g,%g", *w.Lat, *w.Lon)
			if w.Feed == "csv" {
				s.Site = r.Slug + "-weather"
			}
		}
		f.Weather = &s
	}
	return f, nil
}

// issueTime is the moment of the issue: now, or noon of a date at the river.
func issueTime(r forecast.River, date string, now time.Time) (time.Time, error) {
	if date == "" {
		return now, nil
	}
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("river %q: %w", r.Name, err)
	}
	t, err := time.ParseInLocation(time.DateOnly, date, zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("--issue-date %q: write it as 2026-05-18", date)
	}
	if t.After(now) {
		return time.Time{}, fmt.Errorf("--issue-date %s is in the future", date)
	}
	return t.Add(12 * time.Hour), nil
}

func (c forecastCmd) write(e *env, cfg *config.Config, outlooks []*forecast.Outlook) error {
	write := func(w io.Writer) error {
		switch c.Format {
		case "table":
			for i, o := range outlooks {
				if i > 0 {
					fmt.Fprintln(w)
				}
				if err := o.WriteTable(w, tableOptions(cfg, c.All)); err != nil {
					return err
				}
			}
			return nil
		case "json":
			enc := json.NewEncoder(w)
			enc.SetIndent("", " ")
			return enc.Encode(outlooks)
		}
		_, err := export.Write(w, export.Format(c.Format), metaOf(outlooks, cfg.Notice), flatten(outlooks, 0))
		return err
	}
	if c.Out == "" {
		return write(e.stdout)
	}
	if c.Format == "csv" { // with its description beside it
		_, err := export.WriteFile(c.Out, export.CSV, metaOf(outlooks, cfg.Notice), flatten(outlooks, 0))
		return err
	}
	return export.File(c.Out, write)
}

// tableDays is how far the table looks ahead unless all is asked for.
const tableDays = 60

func tableOptions(cfg *config.Config, all bool) forecast.TableOptions {
	opt := forecast.TableOptions{Days: tableDays, Fahrenheit: cfg.Units == "us"}
	if all {
		opt.Days, opt.Unfishable = 0, true
	}
	return opt
}

// metaOf describes a file of outlooks. It is dated by the issue, not by the
// clock, so that the same outlooks give the same bytes.
func metaOf(outlooks []*forecast.Outlook, notice string) export.Meta {
	m := export.Meta{Title: "Emergence and egg-laying forecasts", Source: "eclose, model version " + forecast.ModelVersion, History: "eclose forecast", Notice: notice}
	for _, o := range outlooks {
		if o.IssuedAt.After(m.Created) {
			m.Created = o.IssuedAt
		}
	}
	return m
}

// flatten lists the rows of all outlooks, from the issue on for so many days or,
// with 0, from beginning to end.
func flatten(outlooks []*forecast.Outlook, days int) iter.Seq2[export.Row, error] {
	return func(yield func(export.Row, error) bool) {
		for _, o := range outlooks {
			var from, to forecast.Date
			if days > 0 {
				from, to = o.IssueDate(), o.IssueDate()+forecast.Date(days)
			}
			for r := range export.Flatten(o, from, to) {
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}
