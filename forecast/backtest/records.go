package backtest

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest/table"
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
	t, err := table.Open(name, in, []string{"date", "taxon", "count"}, []string{"hours", "site"})
	if err != nil {
		return out, err
	}
	out.Hours = t.Has("hours")
	for {
		row, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return out, err
		}
		r := Record{Taxon: row["taxon"], Site: row["site"]}
		if r.Date, err = table.Date(row["date"]); err != nil {
			return out, t.Fault(err)
		}
		if r.Taxon == "" {
			return out, t.Fault(errors.New("no taxon: write a name"))
		}
		c := strings.ToLower(row["count"])
		if n, ok := amountOf[c]; ok {
			out.Words = true
			r.Count = n
		} else if table.Missing(c) {
			continue
		} else if r.Count, err = table.Number(c, 0, 1e9); err != nil {
			return out, t.Fault(fmt.Errorf("count %w, none, few or many", err))
		}
		if out.Hours {
			if table.Missing(row["hours"]) {
				continue
			}
			if r.Hours, err = table.Number(row["hours"], 0, 24*400); err != nil {
				return out, t.Fault(fmt.Errorf("hours %w", err))
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
