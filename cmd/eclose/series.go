package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

type seriesCmd struct {
	Show   seriesShowCmd   `cmd:"" help:"List the stored series, or draw what one of them covers."`
	Export seriesExportCmd `cmd:"" help:"Write one series as CSV or Parquet."`
	Verify seriesVerifyCmd `cmd:"" help:"Read every file of the store and check it against its checksum."`
}

type storeFlag struct {
	Store string `required:"" placeholder:"URL" help:"The series store: a folder, file:///folder or s3://bucket."`
}

// open opens the store to read, which works beside a running service.
func (f storeFlag) open(e *env) (*series.Store, error) {
	return series.Open(e.ctx, f.Store, series.ReadOnly())
}

type seriesShowCmd struct {
	storeFlag
	Series string `arg:"" optional:"" help:"A series by its name, or by a part of it that fits no other; without it, all are listed."`
}

func (c seriesShowCmd) Run(e *env) (err error) {
	s, err := c.open(e)
	if err != nil {
		return err
	}
	defer closeInto(&err, s)
	keys, damage := s.Keys(e.ctx) // a damaged series does not hide the others
	if c.Series == "" {
		for _, k := range keys {
			if err := describeSeries(e, s, k); err != nil {
				return err
			}
		}
		if len(keys) == 0 && damage == nil {
			fmt.Fprintln(e.stdout, "The store holds no series yet.")
		}
		return damage
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
	return a.WriteChart(e.stdout)
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
	fmt.Fprintf(e.stdout, "\n  %d replaced readings kept, %d bytes, last changed %s\n", i.Replaced, i.Bytes, i.Retrieved.Format(time.RFC3339))
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
		return ingest.Key{}, usagef("no stored series has %q in its name; 'eclose series show' lists them", name)
	case 1:
		return fit[0], nil
	}
	return ingest.Key{}, usagef("%d stored series have %q in their name, among them %s and %s; say more of it", len(fit), name, fit[0], fit[1])
}

type seriesExportCmd struct {
	storeFlag
	Series string    `arg:"" help:"A series by its name, or by a part of it that fits no other."`
	Format string    `enum:"csv,parquet" default:"csv" help:"csv or parquet."`
	Out    string    `short:"o" placeholder:"FILE" help:"The file to write; standard output without it."`
	From   time.Time `format:"2006-01-02" placeholder:"DATE" help:"The first day (UTC)."`
	To     time.Time `format:"2006-01-02" placeholder:"DATE" help:"The day after the last (UTC)."`
	AsOf   time.Time `format:"2006-01-02T15:04:05Z07:00" placeholder:"TIME" help:"As it was known then, e.g. 2026-03-01T00:00:00Z."`
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
		fmt.Fprintf(e.stdout, "left over from a change that was cut short, harmless: %s\n", name)
	}
	for _, d := range r.Damaged {
		fmt.Fprintln(e.stdout, d)
	}
	if n := len(r.Damaged); n > 0 {
		return fmt.Errorf("%d damaged files in store %s", n, c.Store)
	}
	return nil
}
