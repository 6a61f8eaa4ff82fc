package response

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Rows reads a CSV response row by row. Every row is as wide as the header: a
// shorter one was cut.
type Rows struct {
	Header []string // without surrounding white space
	Cells  []string // of the row that Next read; valid until the next call
	feed   Feed
	r      *csv.Reader
}

// Table reads the header. Begin must have passed over what stands before it.
func (f Feed) Table(r io.Reader) (*Rows, error) {
	t := &Rows{feed: f, r: csv.NewReader(r)}
	t.r.FieldsPerRecord = -1 // checked below, in plainer words
	t.r.ReuseRecord = true
	rec, err := t.r.Read()
	if err != nil {
		return nil, t.fault(err)
	}
	for _, name := range rec {
		t.Header = append(t.Header, strings.TrimSpace(name))
	}
	return t, nil
}

// Column returns the index of the column of that name, or -1.
func (t *Rows) Column(name string) int { return slices.Index(t.Header, name) }

// Next reads a row; false at the end.
func (t *Rows) Next() (bool, error) {
	rec, err := t.r.Read()
	if errors.Is(err, io.EOF) {
		return false, nil
	}
	if err != nil {
		return false, t.fault(err)
	}
	t.Cells = rec
	if len(rec) != len(t.Header) {
		e := t.feed.Fault(t.Where(), fmt.Sprintf("has %d columns; the header has %d", len(rec), len(t.Header)), "the download may have been cut short; fetch it again", nil)
		e.Retryable = true
		return false, e
	}
	return true, nil
}

// Cell returns the cell of a column of the row, without surrounding white
// space; "" for column -1.
func (t *Rows) Cell(column int) string {
	if column < 0 {
		return ""
	}
	return strings.TrimSpace(t.Cells[column])
}

// Where names the row's line, for messages.
func (t *Rows) Where() string {
	line, _ := t.r.FieldPos(0)
	return fmt.Sprintf("line %d", line)
}

func (t *Rows) fault(err error) error {
	pe, ok := errors.AsType[*csv.ParseError](err)
	if !ok {
		return t.feed.Truncated("response")
	}
	if errors.Is(pe.Err, csv.ErrQuote) {
		if _, err := t.r.Read(); errors.Is(err, io.EOF) { // within quotes to the end
			return t.feed.Truncated(fmt.Sprintf("line %d", pe.StartLine))
		}
	}
	return t.feed.Fault(fmt.Sprintf("line %d, column %d", pe.Line, pe.Column), "is not CSV", refetch, pe.Err)
}
