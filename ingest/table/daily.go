package table

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

// longest is how long a daily table may be: a slip in a year must not ask for
// gigabytes. Our own default.
const longest = 366 * 200

// Daily reads a table of a column date, in order, and columns of numbers. It
// returns the first date and each number by day, NaN for days that are left out
// and for fields that are missing; a column of may that is not there is nil.
// number reads one field; row, if not nil, looks at all of a row.
func Daily(name string, in io.Reader, need, may []string, number func(column, field string) (float64, error), row func(v []float64) error) (time.Time, [][]float64, error) {
	var first time.Time
	fail := func(err error) (time.Time, [][]float64, error) { return time.Time{}, nil, err }
	t, err := Open(name, in, append([]string{"date"}, need...), may)
	if err != nil {
		return fail(err)
	}
	columns := append(append([]string(nil), need...), may...)
	out := make([][]float64, len(columns))
	v := make([]float64, len(columns))
	days := 0
	for ; ; days++ {
		fields, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return fail(err)
		}
		date, err := Date(fields["date"])
		if err != nil {
			return fail(t.Fault(err))
		}
		if days == 0 {
			first = date
		}
		next := int(date.Sub(first).Hours() / 24)
		if next < days {
			return fail(t.Fault(fmt.Errorf("%s is not later than the row before", date.Format(time.DateOnly))))
		}
		if next > longest {
			return fail(t.Fault(fmt.Errorf("%s is more than 200 years after the first row", date.Format(time.DateOnly))))
		}
		for k, c := range columns {
			if v[k] = math.NaN(); !t.Has(c) {
				continue
			}
			if !Missing(fields[c]) {
				if v[k], err = number(c, fields[c]); err != nil {
					return fail(t.Fault(err))
				}
			}
			for len(out[k]) < next {
				out[k] = append(out[k], math.NaN())
			}
			out[k] = append(out[k], v[k])
		}
		if row != nil {
			if err := row(v); err != nil {
				return fail(t.Fault(err))
			}
		}
		days = next
	}
	if days == 0 {
		return fail(fmt.Errorf("%s: no days below the header", name))
	}
	return first, out, nil
}
