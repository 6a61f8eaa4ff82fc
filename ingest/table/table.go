package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Reader reads a table of CSV (RFC 4180) row by row. Lines that begin with # are comments.
type Reader struct {
	name string
	r    *csv.Reader
	at   map[string]int
	wide int // columns that each row must have
	line int
}

// Open reads the header of a table. The columns of need must be there, those of
// may can be; others are passed over. name is for messages.
func Open(name string, in io.Reader, need, may []string) (*Reader, error) {
	t := &Reader{name: name, r: csv.NewReader(in), at: map[string]int{}, line: 1}
	t.r.FieldsPerRecord = -1
	t.r.Comment = '#'
	t.r.ReuseRecord = true
	head, err := t.r.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s: the file is empty: it needs a header with %s", name, strings.Join(need, ", "))
	}
	if err != nil {
		return nil, fmt.Errorf("%s: reading the header: %w", name, err)
	}
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if slices.Contains(need, h) || slices.Contains(may, h) {
			if t.Has(h) {
				return nil, t.Fault(fmt.Errorf("two columns %q", h))
			}
			t.at[h], t.wide = i, i+1
		}
	}
	for _, n := range need {
		if !t.Has(n) {
			hint := ""
			if len(head) == 1 && strings.ContainsAny(head[0], ";\t") {
				hint = "; the fields must be separated by commas"
			}
			return nil, t.Fault(fmt.Errorf("column %q is missing: the header needs %s, and names %s%s", n, strings.Join(need, ", "), strings.Join(head, ", "), hint))
		}
	}
	return t, nil
}

// Has reports whether the header names a column.
func (t *Reader) Has(column string) bool { _, ok := t.at[column]; return ok }

// Next returns the next row by column, without space around the fields; io.EOF
// after the last.
func (t *Reader) Next() (map[string]string, error) {
	row, err := t.r.Read()
	if errors.Is(err, io.EOF) {
		return nil, err
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", t.name, err)
	}
	t.line, _ = t.r.FieldPos(0)
	if len(row) < t.wide {
		return nil, t.Fault(fmt.Errorf("%d columns, %d are needed", len(row), t.wide))
	}
	out := make(map[string]string, len(t.at))
	for column, i := range t.at {
		out[column] = strings.TrimSpace(row[i])
	}
	return out, nil
}

// Fault puts file and line before an error of the row last read.
func (t *Reader) Fault(err error) error { return fmt.Errorf("%s:%d: %w", t.name, t.line, err) }

// The years that a table may speak of; others are slips of the pen.
const (
	firstYear = 1800
	lastYear  = 2200
)

// Date reads a civil date; a time of day behind it is left out.
func Date(s string) (time.Time, error) {
	day := s
	if n := len(time.DateOnly); len(s) > n && (s[n] == ' ' || s[n] == 'T') {
		day = s[:n]
	}
	d, err := time.Parse(time.DateOnly, day)
	if err != nil || d.Year() < firstYear || d.Year() > lastYear {
		return d, fmt.Errorf("%q is not a date: write YYYY-MM-DD", s)
	}
	return d, nil
}

// Missing reports whether a field is empty, NA or NaN.
func Missing(s string) bool {
	return s == "" || strings.EqualFold(s, "na") || strings.EqualFold(s, "nan")
}

// Number reads a number within bounds.
func Number(s string, low, high float64) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || v < low || v > high {
		return 0, fmt.Errorf("%q: use a number from %g to %g", s, low, high)
	}
	return v, nil
}
