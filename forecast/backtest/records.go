package backtest

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

// Record is one row of a record of insects: a trap's catch, or a sighting.
type Record struct {
	Date  time.Time // midnight UTC of the civil date
	Taxon string
	Site  string
	Count float64
	Hours float64 // of trapping or watching; 0 where the table has none
}

// Records are a whole table.
type Records struct {
	Rows  []Record
	Hours bool // catches are per time open, not all since the last visit
	Words bool // amounts were given as none, few and many
}

// Amounts of a sighting as numbers: only their proportion matters, for where
// the middle of a season lies. Our own default.
var amountOf = map[string]float64{"none": 0, "few": 1, "many": 5}

// ReadRecords reads a table with the columns date, taxon and count, and perhaps
// hours and site, in any order and with others beside them. A count may be none,
// few or many; an empty one is passed over, since nobody knows whether anything
// was there. name is for messages.
func ReadRecords(name string, in io.Reader) (Records, error) {
	var out Records
	t, err := openTable(name, in, []string{"date", "taxon", "count"}, []string{"hours", "site"})
	if err != nil {
		return out, err
	}
	out.Hours = t.has("hours")
	for {
		row, err := t.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return out, err
		}
		r := Record{Taxon: row["taxon"], Site: row["site"]}
		if r.Date, err = date(row["date"]); err != nil {
			return out, t.fault(err)
		}
		if r.Taxon == "" {
			return out, t.fault(errors.New("no taxon: write a name"))
		}
		c := strings.ToLower(row["count"])
		if n, ok := amountOf[c]; ok {
			out.Words = true
			r.Count = n
		} else if missing(c) {
			continue
		} else if r.Count, err = number(c, 0, 1e9); err != nil {
			return out, t.fault(fmt.Errorf("count %w, none, few or many", err))
		}
		if out.Hours {
			if missing(row["hours"]) {
				continue
			}
			if r.Hours, err = number(row["hours"], 0, 24*400); err != nil {
				return out, t.fault(fmt.Errorf("hours %w", err))
			}
			if r.Hours == 0 {
				continue
			}
		}
		out.Rows = append(out.Rows, r)
	}
	if len(out.Rows) == 0 {
		return out, fmt.Errorf("%s: no records after the header", name)
	}
	slices.SortStableFunc(out.Rows, func(a, b Record) int { return a.Date.Compare(b.Date) })
	return out, nil
}

// table reads CSV with a header in any order.
type table struct {
	name string
	r    *csv.Reader
	at   map[string]int
	line int
}

func openTable(name string, in io.Reader, need, may []string) (*table, error) {
	t := &table{name: name, r: csv.NewReader(in), at: map[string]int{}}
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
	t.line = 1
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if slices.Contains(need, h) || slices.Contains(may, h) {
			if _, ok := t.at[h]; ok {
				return nil, fmt.Errorf("%s:1: two columns %q", name, h)
			}
			t.at[h] = i
		}
	}
	for _, n := range need {
		if !t.has(n) {
			hint := ""
			if len(head) == 1 && strings.ContainsAny(head[0], ";\t") {
				hint = "; the fields must be separated by commas"
			}
			return nil, fmt.Errorf("%s:1: no column %q: the header must name %s, and names %s%s", name, n, strings.Join(need, ", "), strings.Join(head, ", "), hint)
		}
	}
	return t, nil
}

func (t *table) has(col string) bool { _, ok := t.at[col]; return ok }

func (t *table) next() (map[string]string, error) {
	row, err := t.r.Read()
	if errors.Is(err, io.EOF) {
		return nil, err
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", t.name, err)
	}
	t.line, _ = t.r.FieldPos(0)
	out := make(map[string]string, len(t.at))
	for col, i := range t.at {
		if i >= len(row) {
			return nil, t.fault(fmt.Errorf("%d fields, and %q would be number %d", len(row), col, i+1))
		}
		out[col] = strings.TrimSpace(row[i])
	}
	return out, nil
}

func (t *table) fault(err error) error { return fmt.Errorf("%s:%d: %w", t.name, t.line, err) }

// The years a record may speak of; others are slips of the pen.
const (
	firstYear = 1800
	lastYear  = 2200
)

// date reads a civil date; a time of day behind it is left out.
func date(s string) (time.Time, error) {
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

func missing(s string) bool {
	return s == "" || strings.EqualFold(s, "na") || strings.EqualFold(s, "nan")
}

func number(s string, low, high float64) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || v < low || v > high {
		return 0, fmt.Errorf("%q: use a number from %g to %g", s, low, high)
	}
	return v, nil
}
