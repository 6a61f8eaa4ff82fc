package main

import (
	"encoding/json"
	"fmt"
	"io"
	"iter"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
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
		return app.Usagef("--members %d: use 10 to 5000", c.Members)
	}
	if c.Format == "parquet" && c.Out == "" {
		return app.Usagef("--format parquet needs --out FILE")
	}
	outlooks, err := app.IssueAll(e.ctx, cfg, c.River, c.IssueDate, e.now(), c.Members)
	if err != nil {
		return err
	}
	return c.write(e, cfg, outlooks)
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
