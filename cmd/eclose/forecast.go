package main

import (
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"runtime/debug"
	"slices"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/forecast/verdict"
	"example.org/eclose/ingest/series"
)

type forecastCmd struct {
	Rivers []string `arg:"" optional:"" help:"Only these rivers."`
	configFlag
	River     []string `help:"Only these rivers." placeholder:"NAME" hidden:""`
	Group     []string `help:"Only these insect groups, by any name." placeholder:"NAME"`
	IssueDate string   `help:"Forecast as of noon local time on this date, from data known then." placeholder:"YYYY-MM-DD"`
	Format    string   `default:"text" enum:"text,json,csv,parquet" help:"One of ${enum}."`
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
	each := app.IssueEach(e.ctx, cfg, slices.Concat(c.Rivers, c.River), c.IssueDate, e.now(), c.Members)
	switch {
	case c.Format == "csv" || c.Format == "parquet":
		return c.writeRows(e, cfg, each)
	case c.Format == "json":
		return c.to(e, func(w io.Writer) error { return writeOutlooks(w, each) })
	case c.Details || c.All:
		return c.to(e, func(w io.Writer) error { return writeDetails(w, each, tableOptions(cfg, c.All)) })
	}
	return c.answer(e, cfg, each)
}

// to writes to the file that is asked for, or to the terminal.
func (c forecastCmd) to(e *env, write func(io.Writer) error) error {
	if c.Out == "" {
		return write(e.stdout)
	}
	return export.File(c.Out, write)
}

// From so many outlooks on, which are all held to be compared, the garbage collector
// runs at this percentage: they are most of what lives, and what is thrown away should
// not double it. It costs a fifth of the processor. Our own defaults.
const answerMany, answerGC = 50, 40

// answer writes the verdict on all rivers, which are compared with each other.
func (c forecastCmd) answer(e *env, cfg *config.Config, each iter.Seq2[*forecast.Outlook, error]) error {
	var outlooks []*forecast.Outlook
	for o, err := range each {
		if err != nil {
			return err
		}
		if outlooks = append(outlooks, o); len(outlooks) == answerMany {
			defer debug.SetGCPercent(debug.SetGCPercent(answerGC)) // once
		}
	}
	v, err := verdictOf(e, cfg, slices.Concat(c.Rivers, c.River), c.Group, outlooks)
	if err != nil {
		return err
	}
	return c.to(e, v.WriteText)
}

// writeOutlooks writes a JSON array of outlooks, one after the other.
func writeOutlooks(w io.Writer, each iter.Seq2[*forecast.Outlook, error]) error {
	before := "[\n "
	for o, err := range each {
		if err != nil {
			return err
		}
		b, err := json.MarshalIndent(struct {
			*forecast.Outlook
			Caution string `json:"caution"`
		}{o, forecast.StandingCaution}, " ", " ")
		if err != nil {
			return fmt.Errorf("writing the forecast of %s: %w", o.River, err)
		}
		if _, err := fmt.Fprintf(w, "%s%s", before, b); err != nil {
			return fmt.Errorf("printing: %w", err)
		}
		before = ",\n "
	}
	_, err := io.WriteString(w, "\n]\n")
	return err
}

func writeDetails(w io.Writer, each iter.Seq2[*forecast.Outlook, error], opt forecast.TableOptions) error {
	first := true
	for o, err := range each {
		if err != nil {
			return err
		}
		if !first {
			fmt.Fprintln(w)
		}
		first = false
		if err := o.WriteTable(w, opt); err != nil {
			return err
		}
	}
	return nil
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

// writeRows writes a table of rows; beside a CSV file stands its description.
func (c forecastCmd) writeRows(e *env, cfg *config.Config, each iter.Seq2[*forecast.Outlook, error]) error {
	rivers, err := app.Rivers(cfg, slices.Concat(c.Rivers, c.River))
	if err != nil {
		return app.Usage(err)
	}
	meta := metaOf(nil, cfg.Notice)
	for _, r := range rivers { // dated by the last issue
		at, err := app.IssueTime(r, c.IssueDate, e.now())
		if err != nil {
			return app.Usage(err)
		}
		if at.After(meta.Created) {
			meta.Created = at
		}
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	f, rows := export.Format(c.Format), flattened(withCautions(e.ctx, store, rivers, each), func(x issuedOutlook) iter.Seq[export.Row] { return x.beside.Flatten(x.o, 0, 0) })
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
