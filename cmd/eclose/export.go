package main

import (
	"iter"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/model/insects"
	"example.org/eclose/notify/syndicate"
)

// exportCmd writes outlooks for other people's tools.
type exportCmd struct {
	configFlag
	Format       string   `required:"" enum:"parquet,arrow,csv,json,geojson,ics,efi" help:"One of ${enum}; efi is the Ecological Forecasting Initiative's, CSV or, by the name of --out, Parquet."`
	Rivers       []string `aliases:"river" help:"Only these rivers." placeholder:"NAME"`
	From         string   `help:"First day, e.g. 2026-06-30; the day of issue if not given." placeholder:"DATE"`
	To           string   `help:"Last day." placeholder:"DATE"`
	All          bool     `help:"ics only: every window, not only the few that matter."`
	Out          string   `required:"" help:"Output file; it appears only once complete." placeholder:"FILE" type:"path"`
	Observations string   `help:"Also write measured water and flow, and your own sightings, to score forecasts: .csv or .parquet." placeholder:"FILE" type:"path"`
	IssuedFrom   string   `help:"All saved forecasts since this date, not only the newest." placeholder:"DATE"`
	Anew         bool     `help:"Issue new forecasts instead of exporting saved ones."`
	Issue        string   `name:"issue-date" help:"Issue forecasts as of noon local time on this date instead of exporting saved ones." placeholder:"DATE"`
	Members      int      `default:"200" help:"Ensemble size of newly issued forecasts."`
	WithMembers  bool     `help:"Write water and flow member by member: efi only, with --anew or --issue-date."`
}

func (c exportCmd) Run(e *env) error {
	cfg, catalogue, rivers, err := c.loadRivers(c.Rivers)
	if err != nil {
		return err
	}
	days, err := c.check()
	if err != nil {
		return err
	}
	s := outlookSource{cfg: cfg, catalogue: catalogue, now: e.now(), date: c.Issue, since: days.since, members: c.WithMembers, opt: forecast.Options{Members: c.Members}}
	if err := s.open(e.ctx, !c.Anew && c.Issue == ""); err != nil {
		return err
	}
	defer s.close()
	meta := export.Meta{Title: "Emergence and egg-laying forecasts", Source: "eclose, model version " + forecast.ModelVersion, History: "eclose export", Notice: cfg.Notice}
	// Dated by the newest issue, not by the clock: the same outlooks give the
	// same bytes.
	kept, now := 0, 0
	for _, r := range rivers {
		at, n, err := s.issued(e.ctx, r)
		if err != nil {
			return err
		}
		if kept += n; n == 0 {
			now++
			if at, err = app.IssueTime(r, s.date, s.now); err != nil {
				return app.Usage(err)
			}
		}
		if at.After(meta.Created) {
			meta.Created = at
		}
	}
	n, err := c.write(e, &s, rivers, meta, days)
	if err != nil {
		return err
	}
	e.note("wrote %d rows for %d rivers to %s (%d saved forecasts, %d issued now)", n, len(rivers), c.Out, kept, now)
	if c.Observations == "" {
		return nil
	}
	meta.Title = "Observations of water, flow and insects"
	if n, err = export.WriteTableFile(c.Observations, tableFormat(c.Observations), export.Targets, meta, s.observations(e.ctx, rivers, days.from, days.to)); err != nil {
		return err
	}
	e.note("wrote %d observations to %s", n, c.Observations)
	return nil
}

// exportDays are the dates of an export; 0 where none is given.
type exportDays struct {
	from, to forecast.Date
	since    time.Time // first issue; zero for the newest only
}

// check reads the dates and refuses what does not go together.
func (c exportCmd) check() (days exportDays, err error) {
	for _, d := range []struct {
		flag, text string
		into       *forecast.Date
	}{{"from", c.From, &days.from}, {"to", c.To, &days.to}} {
		if d.text == "" {
			continue
		}
		t, err := civilDate(d.text, time.Time{})
		if err != nil {
			return days, app.Usagef("--%s: %w", d.flag, err)
		}
		*d.into = forecast.DateOf(t)
	}
	if c.IssuedFrom != "" {
		if days.since, err = civilDate(c.IssuedFrom, time.Time{}); err != nil {
			return days, app.Usagef("--issued-from: %w", err)
		}
	}
	anew := c.Anew || c.Issue != ""
	switch f := export.Format(c.Format); {
	case days.to != 0 && days.to < days.from:
		return days, app.Usagef("--to %s is before --from %s", c.To, c.From)
	case c.Members < 10 || c.Members > 5000:
		return days, app.Usagef("--members %d: use 10 to 5000", c.Members)
	case c.WithMembers && (c.Format != formatEFI || !anew):
		return days, app.Usagef("--with-members: saved forecasts hold no members; use --format efi with --anew or --issue-date")
	case c.IssuedFrom != "" && anew:
		return days, app.Usagef("--issued-from lists saved forecasts; leave out --anew and --issue-date")
	case c.IssuedFrom != "" && (f == export.GeoJSON || f == export.ICS):
		return days, app.Usagef("--issued-from: %s holds one forecast a river; use csv, parquet, arrow, json or efi", c.Format)
	case c.All && f != export.ICS:
		return days, app.Usagef("--all is for --format ics; %s always holds every window", c.Format)
	case c.Observations != "" && c.Observations == c.Out:
		return days, app.Usagef("--observations and --out name the same file")
	}
	return days, nil
}

// formatEFI is the long form of the Ecological Forecasting Initiative.
const formatEFI = "efi"

// tableFormat is Parquet for a name that ends so, else CSV.
func tableFormat(name string) export.Format {
	if strings.HasSuffix(name, ".parquet") {
		return export.Parquet
	}
	return export.CSV
}

func (c exportCmd) write(e *env, s *outlookSource, rivers []forecast.River, meta export.Meta, days exportDays) (int, error) {
	all := s.all(e.ctx, rivers)
	if c.Format == formatEFI {
		return export.WriteTableFile(c.Out, tableFormat(c.Out), export.EFI, meta, flattened(all, func(x issuedOutlook) iter.Seq[export.Prediction] {
			return export.Predictions(x.o, x.members, days.from, days.to)
		}))
	}
	return export.WriteFile(c.Out, export.Format(c.Format), meta, flattened(all, func(x issuedOutlook) iter.Seq[export.Row] {
		rows := x.beside.Flatten(x.o, days.from, days.to)
		if c.Format == string(export.ICS) && !c.All {
			return mattering(rows, x.o, s.catalogue)
		}
		return rows
	}))
}

// mattering are the rows of the windows that the calendars by address show too: a phone
// takes an event for each, and hundreds flood it.
func mattering(rows iter.Seq[export.Row], o *forecast.Outlook, c *insects.Catalogue) iter.Seq[export.Row] {
	matters := syndicate.Matters(o, c.Group)
	return func(yield func(export.Row) bool) {
		for r := range rows {
			if matters(r.Group, forecast.Stage(r.Stage)) && !yield(r) {
				return
			}
		}
	}
}

// flattened lists the rows of one outlook after another.
func flattened[R any](all iter.Seq2[issuedOutlook, error], rows func(issuedOutlook) iter.Seq[R]) iter.Seq2[R, error] {
	return func(yield func(R, error) bool) {
		for x, err := range all {
			if err != nil {
				var none R
				yield(none, err)
				return
			}
			for r := range rows(x) {
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}
