package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"syscall"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/csvfile"
	"example.org/eclose/ingest/qc"
)

type feedCmd struct {
	Check feedCheckCmd `cmd:"" help:"Check a saved response and report what it contains. Try this first when an agency changes its format."`
}

type feedCheckCmd struct {
	Feed      string `required:"" help:"Feed the response came from; an unknown name lists them all."`
	File      string `arg:"" help:"Saved response, or - for stdin."`
	Format    string `enum:"text,json" default:"text" help:"Output: text or json."`
	Site      string `help:"Site ID, if the response lacks one."`
	Parameter string `help:"Agency parameter code, if the response lacks one."`
	Statistic string `help:"Agency statistic code, if the response lacks one."`
	Century   int    `name:"two-digit-years-from" help:"First year of the century for two-digit years, e.g. 1950."`
	Config    string `env:"ECLOSE_CONFIG" placeholder:"FILE" help:"Configuration file whose CSV layouts apply (feed csv)."`
	Layout    string `help:"Name of the CSV layout in the config; not needed if there is one." placeholder:"NAME"`
}

// parser is that of the feed, or of a CSV layout in the config.
func (c *feedCheckCmd) parser(skipped func(ingest.Skipped)) (ingest.Parser, error) {
	if c.Feed == csvfile.FeedName && c.Config != "" {
		cfg, err := config.LoadFeeds(c.Config)
		if err != nil {
			return nil, err
		}
		if f := cfg.Feeds[c.Feed]; len(f.Columns) > 0 || len(f.Layouts) > 0 || c.Layout != "" {
			l, err := cfg.CSVLayout(c.Layout)
			return l.Parser(c.Site, skipped), err
		}
	}
	if c.Layout != "" {
		return nil, errors.New("--layout needs --feed csv and --config")
	}
	return feed.Parser(c.Feed, feed.Options{Site: c.Site, Parameter: c.Parameter, Statistic: c.Statistic, TwoDigitYearsFrom: c.Century, Skipped: skipped})
}

func (c *feedCheckCmd) Run(e *env) error {
	var skipped []ingest.Skipped
	p, err := c.parser(func(s ingest.Skipped) { skipped = append(skipped, s) })
	if err != nil {
		return app.Usagef("%w", err)
	}
	answer, err := c.answer(e)
	if err != nil {
		return err
	}
	list, err := p.Parse(bytes.NewReader(answer))
	if err != nil {
		if c.File != "-" {
			err = fmt.Errorf("%s: %w", c.File, err)
		}
		if others := feed.Recognise(answer, feed.Options{TwoDigitYearsFrom: c.Century}); len(others) > 0 {
			err = fmt.Errorf("%w. It looks like --feed %s", err, strings.Join(others, " or "))
		}
		return err
	}
	rows := make([]checkedSeries, len(list))
	for i := range list {
		s, _ := qc.Check(list[i], qc.Default(list[i].Variable, list[i].Period), qc.Context{})
		rows[i] = checkedSeries{feed.Summarize(&s), qc.Summarize(s, time.Time{}).String()}
	}
	if c.Format == "json" {
		return writeCheckJSON(e.stdout, rows, skipped)
	}
	return writeCheckTable(e.stdout, rows, skipped)
}

// mostAnswer is the largest saved answer that is read; ten years of a gauge in
// quarter hours are some 60 MB in the most verbose format.
const mostAnswer = 1 << 30

func (c *feedCheckCmd) answer(e *env) ([]byte, error) {
	in := e.stdin
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return nil, app.Usagef("opening the saved response: %w", err)
		}
		defer f.Close() //nolint:errcheck // it was only read
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, mostAnswer+1))
	switch {
	case errors.Is(err, syscall.EISDIR):
		return nil, app.Usagef("%s is a folder; give one file", c.File)
	case err != nil:
		return nil, fmt.Errorf("reading the saved answer: %w", err)
	case len(b) > mostAnswer:
		return nil, fmt.Errorf("%s is larger than %d MB: not a saved response", c.File, mostAnswer>>20)
	}
	return b, nil
}

// checkedSeries is one series of a response and how plausible it is.
type checkedSeries struct {
	feed.Summary
	Plausibility string `json:"plausibility"`
}

// checkJSON is the document that --format json prints.
type checkJSON struct {
	Series  []checkedSeries `json:"series"`
	Skipped []skippedJSON   `json:"skipped"`
}

type skippedJSON struct {
	Site     string `json:"site"`
	What     string `json:"what"`
	Why      string `json:"why"`
	Readings int    `json:"readings"`
}

func writeCheckJSON(w io.Writer, rows []checkedSeries, skipped []ingest.Skipped) error {
	doc := checkJSON{Series: rows, Skipped: []skippedJSON{}}
	for _, s := range skipped {
		doc.Skipped = append(doc.Skipped, skippedJSON(s))
	}
	return writeJSON(w, doc)
}

func writeCheckTable(w io.Writer, rows []checkedSeries, skipped []ingest.Skipped) error {
	if len(rows) == 0 {
		fmt.Fprintln(w, "The response contains no readings.")
	}
	for _, r := range rows {
		fmt.Fprintf(w, "%s\n", r.ID)
		tw := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
		fmt.Fprintf(tw, "  site\t%s\n  variable\t%s, in %s (reported in %q)\n", r.Site, r.Variable, r.Unit, r.SourceUnit)
		fmt.Fprintf(tw, "  readings\t%d (%d without a value, %d approved)\n", r.Count, r.Missing, r.Approved)
		if r.First != nil {
			fmt.Fprintf(tw, "  first, last\t%s, %s\n", r.First.Format("2006-01-02T15:04:05Z"), r.Last.Format("2006-01-02T15:04:05Z"))
		}
		if r.Min != nil {
			fmt.Fprintf(tw, "  min, max\t%.6g, %.6g\n", *r.Min, *r.Max)
		}
		if words := r.Words(); len(words) > 0 {
			for i, q := range words {
				words[i] = fmt.Sprintf("%s %d", q, r.Qualifiers[q])
			}
			fmt.Fprintf(tw, "  qualifiers\t%s\n", strings.Join(words, ", "))
		}
		fmt.Fprintf(tw, "  plausibility\t%s\n", r.Plausibility)
		if err := tw.Flush(); err != nil {
			return fmt.Errorf("printing: %w", err)
		}
	}
	for _, s := range skipped {
		fmt.Fprintf(w, "skipped: %s\n", s)
	}
	return nil
}
