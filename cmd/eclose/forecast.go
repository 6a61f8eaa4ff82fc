package main

import (
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"slices"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/forecast/verdict"
)

type forecastCmd struct {
	Rivers []string `arg:"" optional:"" help:"Only these rivers."`
	configFlag
	River     []string `help:"Only these rivers." placeholder:"NAME" hidden:""`
	Group     []string `help:"Only these insect groups, by any name." placeholder:"NAME"`
	IssueDate string   `help:"Forecast as of noon local time on this date, from data known then." placeholder:"YYYY-MM-DD"`
	Format    string   `default:"table" enum:"table,json,csv,parquet" help:"One of ${enum}."`
	Out       string   `help:"Write to this file instead of the terminal." placeholder:"FILE" type:"path"`
	Details   bool     `help:"Show each stage of the next 60 days with dates, ranges and reasons."`
	All       bool     `help:"Show every stage of the year, including those not fishable."`
	Members   int      `default:"200" help:"Ensemble size (10 to 5000)."`
}

func (c forecastCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	if c.Members < 10 || c.Members > 5000 {
		return app.Usagef("--members %d: use 10 to 5000", c.Members)
	}
	if c.Format == "parquet" && c.Out == "" {
		return app.Usagef("--format parquet needs --out FILE")
	}
	only := slices.Concat(c.Rivers, c.River)
	outlooks, err := app.IssueAll(e.ctx, cfg, only, c.IssueDate, e.now(), c.Members)
	if err != nil {
		return err
	}
	var v verdict.Verdict
	if c.Format == "table" && !c.Details && !c.All {
		if v, err = verdictOf(e, cfg, only, c.Group, outlooks); err != nil {
			return err
		}
	}
	return c.write(e, cfg, outlooks, v)
}

// verdictOf puts past flow and caution of the moment of the issue beside outlooks, and
// judges them.
func verdictOf(e *env, cfg *config.Config, only, groups []string, outlooks []*forecast.Outlook) (v verdict.Verdict, err error) {
	catalogue, err := app.LoadCatalogue(cfg)
	if err != nil {
		return v, app.Usage(err)
	}
	rivers, err := app.Rivers(cfg, only)
	if err != nil {
		return v, app.Usage(err)
	}
	q := verdict.Question{Units: app.Units(cfg)}
	if q.Groups, err = groupsNamed(catalogue, rivers, groups); err != nil {
		return v, app.Usagef("--group: %w", err)
	}
	if err := staleHint(e, cfg, rivers, outlooks); err != nil {
		return v, err
	}
	known, err := withFlows(e.ctx, cfg, rivers, outlooks)
	if err != nil {
		return v, err
	}
	for _, o := range outlooks {
		if o.IssuedAt.After(q.Now) {
			q.Now = o.IssuedAt
		}
	}
	return verdict.Of(q, known, catalogue.Group), nil
}

func (c forecastCmd) write(e *env, cfg *config.Config, outlooks []*forecast.Outlook, v verdict.Verdict) error {
	write := func(w io.Writer) error {
		if c.Format == "json" {
			enc := json.NewEncoder(w)
			enc.SetIndent("", " ")
			return enc.Encode(outlooks)
		}
		if !c.Details && !c.All {
			return v.WriteText(w)
		}
		for i, o := range outlooks {
			if i > 0 {
				fmt.Fprintln(w)
			}
			if err := o.WriteTable(w, tableOptions(cfg, c.All)); err != nil {
				return err
			}
		}
		return nil
	}
	if c.Format == "csv" || c.Format == "parquet" {
		return c.writeRows(e, cfg, outlooks)
	}
	if c.Out == "" {
		return write(e.stdout)
	}
	return export.File(c.Out, write)
}

// writeRows writes a table of rows; beside a CSV file stands its description.
func (c forecastCmd) writeRows(e *env, cfg *config.Config, outlooks []*forecast.Outlook) error {
	beside, err := besides(e.ctx, cfg, slices.Concat(c.Rivers, c.River), outlooks)
	if err != nil {
		return err
	}
	f, meta, rows := export.Format(c.Format), metaOf(outlooks, cfg.Notice), flatten(outlooks, beside, 0)
	if c.Out == "" {
		_, err = export.Write(e.stdout, f, meta, rows)
	} else {
		_, err = export.WriteFile(c.Out, f, meta, rows)
	}
	return err
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
func flatten(outlooks []*forecast.Outlook, beside []export.Beside, days int) iter.Seq2[export.Row, error] {
	return func(yield func(export.Row, error) bool) {
		for i, o := range outlooks {
			var from, to forecast.Date
			if days > 0 {
				from, to = o.IssueDate(), o.IssueDate()+forecast.Date(days)
			}
			for r := range beside[i].Flatten(o, from, to) {
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}
