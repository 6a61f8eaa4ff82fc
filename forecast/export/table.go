package export

import (
	"fmt"
	"io"
	"iter"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"example.org/eclose/forecast"
)

// Format is a file format by its usual name.
type Format string

// The formats of tables, and the two that only outlooks can take.
const (
	Parquet Format = "parquet"
	Arrow   Format = "arrow"
	CSV     Format = "csv"
	JSON    Format = "json"
	GeoJSON Format = "geojson"
	ICS     Format = "ics"
)

// Formats lists them all.
var Formats = []Format{Parquet, Arrow, CSV, JSON, GeoJSON, ICS}

// Column describes one column of a table of R in the words of the CF
// conventions. Field points at the value within a row: *string, *float64 (NaN is
// no value), *int, *bool, *forecast.Date (0 is no value) or *time.Time (the zero
// time is no value; kept to the microsecond, in UTC).
type Column[R any] struct {
	Name     string
	Units    string // UDUNITS spelling; "1" for shares and counts, "" for text
	Long     string // what it is, in words
	Standard string // CF standard name, where there is one
	Field    func(*R) any
}

// Table is a kind of file: its name, the version of its columns, which changes
// whenever a column is renamed, removed or changes its meaning, the columns that
// together name a row, and the columns.
type Table[R any] struct {
	Name    string
	Version string
	Key     []string
	Columns []Column[R]
}

// layout is a Table whose rows have no type: the writers of the formats are compiled
// once, not once for each table.
type layout struct {
	name, version string
	key           []string
	columns       []column
}

// column is a Column. zero points at a value of its type, at points at the value in a
// row of the batch that is written.
type column struct {
	name, units, long, standard string
	zero                        any
	at                          func(row int) any
}

// over is the layout of the rows that batch will hold.
func (t Table[R]) over(batch *[]R) layout {
	var zero R
	l := layout{t.Name, t.Version, t.Key, make([]column, len(t.Columns))}
	for i, c := range t.Columns {
		l.columns[i] = column{c.Name, c.Units, c.Long, c.Standard, c.Field(&zero), func(row int) any { return c.Field(&(*batch)[row]) }}
	}
	return l
}

// Meta is what a file says about itself beyond its columns.
type Meta struct {
	Title   string    // one line
	Source  string    // what made the numbers: model and version
	History string    // the command that wrote the file
	Created time.Time // when: passed in, never read from the clock
	Notice  string    // what its owner says of all that is shown; may be empty
}

// comment is the notice and the caution, which every file carries.
func (m Meta) comment() string {
	return strings.TrimLeft(m.Notice+" "+forecast.StandingCaution, " ")
}

// attribute is one global attribute of a file.
type attribute struct{ name, value string }

// attributes are the same for every format, in this order.
func (t layout) attributes(m Meta) []attribute {
	return []attribute{
		{"Conventions", "CF-1.11, ACDD-1.3"},
		{"title", m.Title},
		{"schema", "eclose/" + t.name},
		{"schema_version", t.version},
		{"source", m.Source},
		{"history", m.History},
		{"date_created", m.Created.UTC().Format(time.RFC3339)},
		{"comment", m.comment()},
	}
}

// sink takes batches of rows in order, by their number.
type sink interface {
	write(rows int) error
	close() error
}

// batchRows is how many rows are held at once: those of outlooks take 3 MB.
const batchRows = 4096

// WriteTable streams rows to w, in any format but GeoJSON and ICS. It stops at the first error of the sequence, the
// writer or a value that cannot be written, and then what w got is not a file;
// use File to have all or nothing. It returns the number of rows written.
func WriteTable[R any](w io.Writer, f Format, t Table[R], m Meta, rows iter.Seq2[R, error]) (int, error) {
	batch := make([]R, 0, batchRows)
	s, err := newSink(w, f, t.over(&batch), m)
	if err != nil {
		return 0, err
	}
	return drain(s, &batch, rows, f, t.Name)
}

func newSink(w io.Writer, f Format, t layout, m Meta) (s sink, err error) {
	switch f {
	case Parquet:
		s, err = newParquet(w, t, m)
	case Arrow:
		s, err = newArrow(w, t, m)
	case CSV:
		s, err = newCSV(w, t)
	case JSON:
		s, err = newJSON(w, t, m)
	default:
		return nil, fmt.Errorf("writing %s: a table has no form as %q", t.name, f)
	}
	if err != nil {
		return nil, fmt.Errorf("starting %s as %s: %w", t.name, f, err)
	}
	return s, nil
}

// WriteTableFile is WriteTable into a file, all or nothing (see File). Beside a
// CSV file it puts its description, NAME-metadata.json, first: data without a
// description would be worse than a description that waits for its data.
func WriteTableFile[R any](path string, f Format, t Table[R], m Meta, rows iter.Seq2[R, error]) (n int, err error) {
	if f == CSV {
		d, err := csvDescription(filepath.Base(path), t.over(nil), m)
		if err != nil {
			return 0, fmt.Errorf("describing %s: %w", path, err)
		}
		if err := File(path+"-metadata.json", func(w io.Writer) error { _, err := w.Write(d); return err }); err != nil {
			return 0, err
		}
	}
	err = File(path, func(w io.Writer) error {
		n, err = WriteTable(w, f, t, m, rows)
		return err
	})
	return n, err
}

// drain feeds a sink in batches.
func drain[R any](s sink, batch *[]R, rows iter.Seq2[R, error], f Format, name string) (int, error) {
	n := 0
	flush := func() error {
		if err := s.write(len(*batch)); err != nil {
			return fmt.Errorf("writing %s as %s after row %d: %w", name, f, n, err)
		}
		n += len(*batch)
		*batch = (*batch)[:0]
		return nil
	}
	for r, err := range rows {
		if err != nil {
			return n, fmt.Errorf("reading row %d of %s: %w", n+len(*batch)+1, name, err)
		}
		if *batch = append(*batch, r); len(*batch) == batchRows {
			if err := flush(); err != nil {
				return n, err
			}
		}
	}
	if len(*batch) > 0 {
		if err := flush(); err != nil {
			return n, err
		}
	}
	if err := s.close(); err != nil {
		return n, fmt.Errorf("finishing %s as %s: %w", name, f, err)
	}
	return n, nil
}

// text renders a value for the text formats; ok is false for no value.
func text(p any) (s string, ok bool) {
	switch v := p.(type) {
	case *string:
		return *v, true
	case *float64:
		return formatFloat(*v), !math.IsNaN(*v)
	case *int:
		return fmt.Sprint(*v), true
	case *bool:
		return fmt.Sprint(*v), true
	case *forecast.Date:
		return v.String(), *v != 0
	case *time.Time:
		return v.UTC().Truncate(time.Microsecond).Format(time.RFC3339Nano), !v.IsZero()
	}
	panic(fmt.Sprintf("export: a column of type %T", p))
}

// Rows adapts a slice to the sequence that the writers take.
func Rows[R any](rows []R) iter.Seq2[R, error] {
	return func(yield func(R, error) bool) {
		for r := range slices.Values(rows) {
			if !yield(r, nil) {
				return
			}
		}
	}
}
