package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

type seriesCmd struct {
	Show   seriesShowCmd   `cmd:"" help:"List stored series, or chart their coverage."`
	Export seriesExportCmd `cmd:"" help:"Export one series as CSV or Parquet."`
	Verify seriesVerifyCmd `cmd:"" help:"Check every stored file against its checksum."`
	Repair seriesRepairCmd `cmd:"" help:"Put damaged files aside and download what they held again."`
}

type storeFlag struct {
	Config string `env:"ECLOSE_CONFIG" placeholder:"FILE" help:"The TOML file that names the store."`
	Store  string `placeholder:"URL" help:"Series store: a folder, file:///folder or s3://bucket; overrides the config."`
}

// open opens the store to read, which works beside a running service.
func (f storeFlag) open(e *env) (*series.Store, error) {
	url := f.Store
	if url == "" {
		if f.Config == "" {
			return nil, app.Usagef("give --config FILE or --store URL")
		}
		cfg, err := configFlag{f.Config}.load()
		if err != nil {
			return nil, err
		}
		url = cfg.StoreURL()
	}
	return series.Open(e.ctx, url, series.ReadOnly())
}

type seriesShowCmd struct {
	storeFlag
	Series string `arg:"" optional:"" help:"Series name, or an unambiguous part of it; omit to list all."`
	SVG    string `placeholder:"FILE" type:"path" help:"Also write a coverage chart (SVG) to this file."`
	Format string `enum:"text,json" default:"text" help:"Output: text or json."`
}

func (c seriesShowCmd) Run(e *env) (err error) {
	s, err := c.open(e)
	if err != nil {
		return err
	}
	defer closeInto(&err, s)
	keys, damage := s.Keys(e.ctx) // a damaged series does not hide the others
	if c.Format == "json" {
		return c.json(e, s, keys, damage)
	}
	if c.Series == "" {
		for _, k := range keys {
			if err := describeSeries(e, s, k); err != nil {
				return err
			}
		}
		if len(keys) == 0 && damage == nil {
			fmt.Fprintln(e.stdout, "The store holds no series yet.")
		}
		return errors.Join(damage, c.draw(e, s, keys))
	}
	key, err := chooseSeries(keys, c.Series)
	if err != nil {
		return errors.Join(err, damage)
	}
	if err := describeSeries(e, s, key); err != nil {
		return err
	}
	a, err := s.Availability(e.ctx, key)
	if err != nil {
		return err
	}
	fmt.Fprintln(e.stdout)
	if err := a.WriteChart(e.stdout); err != nil {
		return err
	}
	return c.draw(e, s, []ingest.Key{key})
}

// draw writes the picture of what series cover, if one is wanted.
func (c seriesShowCmd) draw(e *env, s *series.Store, keys []ingest.Key) error {
	if c.SVG == "" {
		return nil
	}
	p := chart.Coverage{}
	for _, k := range keys {
		if k.Member > 1 {
			continue // the members of an ensemble cover the same days
		}
		a, err := s.Availability(e.ctx, k)
		if err != nil {
			return err
		}
		row := chart.CoverageRow{Name: k.String(), FirstYear: a.FirstYear}
		for _, y := range a.Years {
			for m := range 12 {
				share := math.NaN()
				if y.Days[m] > 0 {
					share = float64(y.Covered[m]) / float64(y.Days[m])
				}
				row.Months = append(row.Months, share)
			}
		}
		p.Rows = append(p.Rows, row)
	}
	if err := os.WriteFile(c.SVG, []byte(p.SVG()), 0o644); err != nil { //nolint:gosec // a picture of public data
		return fmt.Errorf("drawing the coverage chart: %w", err)
	}
	fmt.Fprintf(e.stdout, "wrote %s\n", c.SVG)
	return nil
}

func describeSeries(e *env, s *series.Store, key ingest.Key) error {
	i, err := s.Info(e.ctx, key)
	if err != nil {
		return err
	}
	fmt.Fprintln(e.stdout, key)
	if i.Place.Name != "" {
		fmt.Fprintf(e.stdout, "  %s\n", i.Place.Name)
	}
	fmt.Fprintf(e.stdout, "  %d readings, %s to %s, in %s", i.Count, i.First.Format(time.DateOnly), i.Last.Format(time.DateOnly), key.Variable.Unit())
	if i.SourceUnit != "" && i.SourceUnit != key.Variable.Unit() {
		fmt.Fprintf(e.stdout, " (from %s)", i.SourceUnit)
	}
	fmt.Fprintf(e.stdout, "\n  %d superseded readings, %d bytes, last changed %s\n", i.Replaced, i.Bytes, i.Retrieved.Format(time.RFC3339))
	return nil
}

// chooseSeries finds the one series that a name, or a part of a name, means.
func chooseSeries(keys []ingest.Key, name string) (ingest.Key, error) {
	var fit []ingest.Key
	for _, k := range keys {
		if k.String() == name {
			return k, nil
		}
		if strings.Contains(k.String(), name) {
			fit = append(fit, k)
		}
	}
	switch len(fit) {
	case 0:
		return ingest.Key{}, app.Usagef("no series matches %q; list them with 'eclose series show'", name)
	case 1:
		return fit[0], nil
	}
	return ingest.Key{}, app.Usagef("%d series match %q, including %s and %s; be more specific", len(fit), name, fit[0], fit[1])
}

type seriesExportCmd struct {
	storeFlag
	Series string    `arg:"" help:"A series by its name, or by a part of it that fits no other."`
	Format string    `enum:"csv,parquet" default:"csv" help:"csv or parquet."`
	Out    string    `short:"o" placeholder:"FILE" help:"The file to write; standard output without it."`
	From   time.Time `format:"2006-01-02" placeholder:"DATE" help:"The first day (UTC)."`
	To     time.Time `format:"2006-01-02" placeholder:"DATE" help:"The day after the last (UTC)."`
	AsOf   time.Time `format:"2006-01-02T15:04:05Z07:00" placeholder:"TIME" help:"As known at this time, e.g. 2026-03-01T00:00:00Z."`
}

func (c seriesExportCmd) Run(e *env) (err error) {
	s, err := c.open(e)
	if err != nil {
		return err
	}
	defer closeInto(&err, s)
	keys, damage := s.Keys(e.ctx)
	key, err := chooseSeries(keys, c.Series)
	if err != nil {
		return errors.Join(err, damage)
	}
	export := s.ExportCSV
	if c.Format == "parquet" {
		export = s.ExportParquet
	}
	q := series.Query{From: c.From, To: c.To, AsOf: c.AsOf}
	if c.Out == "" {
		w := bufio.NewWriter(e.stdout)
		if err := export(e.ctx, w, key, q); err != nil {
			return err
		}
		return w.Flush()
	}
	f, err := os.Create(c.Out)
	if err != nil {
		return fmt.Errorf("exporting %s: %w", key, err)
	}
	defer closeInto(&err, f)
	return export(e.ctx, f, key, q)
}

// closeInto closes c and keeps its error if there is none yet.
func closeInto(err *error, c io.Closer) {
	if closeErr := c.Close(); *err == nil {
		*err = closeErr
	}
}

type seriesVerifyCmd struct{ storeFlag }

func (c seriesVerifyCmd) Run(e *env) (err error) {
	s, err := c.open(e)
	if err != nil {
		return err
	}
	defer closeInto(&err, s)
	r, err := s.Verify(e.ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "%d series in %d files, %d rows, %d bytes checked\n", r.Series, r.Files, r.Rows, r.Bytes)
	for _, name := range r.Strays {
		fmt.Fprintf(e.stdout, "harmless leftover from an interrupted write: %s\n", name)
	}
	for _, d := range r.Damaged {
		fmt.Fprintln(e.stdout, d)
	}
	if n := len(r.Damaged); n > 0 {
		return fmt.Errorf("%d damaged files in the store", n)
	}
	return nil
}
