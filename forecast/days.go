package forecast

import (
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"slices"
)

// Steps in which Days keeps its numbers, in parts of one: finer digits are noise
// of the members, and people read whole per cents.
const (
	ChanceSteps = 1000
	ShareSteps  = 10000
)

// The columns of Days.
const (
	columnP = iota
	columnPCalendar
	columnP10
	columnP50
	columnP90
	columnCalendar
	dayColumns
)

// Days are the days of one stage, one after the other without a gap. Each number
// takes two bytes: chances are kept to 0.001, shares of a season to 0.0001. Days of
// nothing before the first and after the last of something take none: they are most
// of a year. The zero value has no day.
type Days struct {
	From  Date
	n     int
	first int32    // the first day of something
	held  int32    // how many days there are from it to the last of something
	all   []uint16 // columns of held days, one after the other; those that are left out are zeros
	near  string   // instead of all: the two columns of chances, packed by packNear
}

// DaysOf packs days that follow each other. Values out of range are cut to it.
func DaysOf(days []Day) Days {
	if len(days) == 0 {
		return Days{}
	}
	d := Days{From: days[0].Date, n: len(days)}
	something := func(x Day) bool { return stepped(x) != [dayColumns]uint16{} }
	first := slices.IndexFunc(days, something)
	if first < 0 {
		return d
	}
	last := len(days) - 1
	for !something(days[last]) {
		last--
	}
	held := last + 1 - first
	d.first, d.held, d.all = int32(first), int32(held), make([]uint16, dayColumns*held) //nolint:gosec // days of a few years
	for i, x := range days[first : last+1] {
		for c, v := range stepped(x) {
			d.all[c*held+i] = v
		}
	}
	return d
}

// daysOfColumns is DaysOf with the numbers in columns of n days; an empty column is one
// of zeros.
func daysOfColumns(from Date, n int, columns [dayColumns][]float64) Days {
	d := Days{From: from, n: n}
	first, last := n, -1
	for c, column := range columns {
		steps := stepsOf(c)
		for i := 0; i < min(first, len(column)); i++ {
			if packed(column[i], steps) != 0 {
				first = i
			}
		}
		for i := len(column) - 1; i > last; i-- {
			if packed(column[i], steps) != 0 {
				last = i
			}
		}
	}
	if last < 0 {
		return d
	}
	held := last + 1 - first
	d.first, d.held, d.all = int32(first), int32(held), make([]uint16, dayColumns*held) //nolint:gosec // days of a few years
	for c, column := range columns {
		if len(column) == 0 {
			continue
		}
		steps := stepsOf(c)
		for i, v := range column[first : last+1] {
			d.all[c*held+i] = packed(v, steps)
		}
	}
	return d
}

// packed is a number in its steps.
func packed(v, steps float64) uint16 {
	// Half a step more and cut off is rounded, in less time; most are nothing.
	if v *= steps; !(v >= 0.5) {
		return 0
	}
	return uint16(min(v+0.5, math.MaxUint16))
}

// stepped are the numbers of a day in their steps.
func stepped(x Day) (out [dayColumns]uint16) {
	for c, v := range [dayColumns]float64{x.P, x.PCalendar, x.Activity[0], x.Activity[1], x.Activity[2], x.Calendar} {
		out[c] = packed(v, stepsOf(c))
	}
	return out
}

func stepsOf(column int) float64 {
	if column <= columnPCalendar {
		return ChanceSteps
	}
	return ShareSteps
}

// Len is the number of days.
func (d Days) Len() int { return d.n }

// At returns the i-th day; it panics outside 0 <= i < Len.
func (d Days) At(i int) Day {
	if i < 0 || i >= d.n {
		panic(fmt.Sprintf("day %d of %d", i, d.n))
	}
	date, held := d.From+Date(i), int(d.held)
	if i -= int(d.first); i < 0 || i >= held {
		return Day{Date: date}
	}
	if d.near != "" {
		calendar := d.near[nearLen(held):]
		return Day{Date: date, P: float64(nearAt(d.near, i)) / ChanceSteps, PCalendar: float64(nearAt(calendar, i)) / ChanceSteps}
	}
	v := func(c int) float64 {
		if k := c*held + i; k < len(d.all) {
			return float64(d.all[k]) / stepsOf(c)
		}
		return 0
	}
	return Day{
		Date: date, P: v(columnP), PCalendar: v(columnPCalendar),
		Activity: [3]float64{v(columnP10), v(columnP50), v(columnP90)}, Calendar: v(columnCalendar),
	}
}

// On returns the day of a date; false where there is none.
func (d Days) On(date Date) (Day, bool) {
	i := int(date - d.From)
	if i < 0 || i >= d.n {
		return Day{}, false
	}
	return d.At(i), true
}

// All iterates over the days in order.
func (d Days) All() iter.Seq2[int, Day] {
	return func(yield func(int, Day) bool) {
		for i := range d.n {
			if !yield(i, d.At(i)) {
				return
			}
		}
	}
}

// Equal says whether both hold the same days.
func (d Days) Equal(o Days) bool {
	return d.From == o.From && d.n == o.n && d.first == o.first && d.held == o.held && d.near == o.near && slices.Equal(d.all, o.all)
}

// chances are the same days with their chances from a date on, in memory of their own:
// all others, and the shares of the season, are zero.
func (d Days) chances(from Date) Days {
	if d.near != "" {
		return d
	}
	skip := min(max(int(from-d.From)-int(d.first), 0), int(d.held))
	first, all := trimmed(d.column(columnP)[skip:], d.column(columnPCalendar)[skip:])
	out := Days{From: d.From, n: d.n, first: d.first + int32(skip+first), held: int32(len(all) / 2), all: all} //nolint:gosec // within held
	p, ok := packNear(all[:out.held])
	calendar, ok2 := packNear(all[out.held:])
	if ok && ok2 {
		out.all, out.near = nil, string(append(p, calendar...))
	}
	return out
}

// DaysOfSteps is DaysOf with the numbers in whole steps, one column each for the fields of
// Day in their order, all of them as long.
func DaysOfSteps(from Date, columns [dayColumns][]uint16) Days {
	first, all := trimmed(columns[:]...)
	return Days{From: from, n: len(columns[0]), first: int32(first), held: int32(len(all) / dayColumns), all: all} //nolint:gosec // days of a few years
}

// trimmed are columns one after the other without the zeros that all of them begin and end
// with, and the first index that is kept.
func trimmed(columns ...[]uint16) (first int, all []uint16) {
	last := len(columns[0])
	some := func(i int) bool {
		return slices.ContainsFunc(columns, func(c []uint16) bool { return c[i] != 0 })
	}
	for first < last && !some(first) {
		first++
	}
	if first == last {
		return 0, nil
	}
	for !some(last - 1) {
		last--
	}
	all = make([]uint16, 0, len(columns)*(last-first))
	for _, c := range columns {
		all = append(all, c[first:last]...)
	}
	return first, all
}

func (d Days) column(c int) []uint16 { return d.all[c*int(d.held) : (c+1)*int(d.held)] }

// MarshalJSON writes an array of days.
func (d Days) MarshalJSON() ([]byte, error) {
	list := make([]Day, d.n)
	for i, x := range d.All() {
		list[i] = x
	}
	return json.Marshal(list)
}

// UnmarshalJSON reads an array of days, as written by MarshalJSON and by
// versions before the columns.
func (d *Days) UnmarshalJSON(text []byte) error {
	var list []Day
	if err := json.Unmarshal(text, &list); err != nil {
		return err
	}
	for i, x := range list {
		if x.Date != list[0].Date+Date(i) {
			return fmt.Errorf("day %d of the list is %s: the days must follow each other", i+1, x.Date)
		}
	}
	*d = DaysOf(list)
	return nil
}
