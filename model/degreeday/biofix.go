package degreeday

import (
	"math"
	"time"

	"example.org/eclose/model/sun"
)

// Season is a run of days that a biofix is looked for in.
type Season struct {
	First  time.Time // date of the first day, any zone; only the date counts
	MeanC  []float64 // daily mean water temperature, NaN where missing
	LatDeg float64   // north positive, for rules of day length
}

// Start is where a sum begins: the first day that counts, and the day on whose
// evening this was known (later for rules that wait for confirmation). Both are
// indexes into the season.
type Start struct {
	Day, Known int
}

// Biofix is a rule for where a sum begins. ok is false when it does not begin
// within the season.
type Biofix interface {
	Start(Season) (s Start, ok bool)
}

// OnDate begins on the first such date of the season.
type OnDate struct {
	Month time.Month
	Day   int
}

// Start implements Biofix.
func (b OnDate) Start(s Season) (Start, bool) {
	for i := range s.MeanC {
		// 29 February stands for 1 March in ordinary years.
		d := s.date(i)
		if time.Date(d.Year(), b.Month, b.Day, 0, 0, 0, 0, time.UTC).Equal(d) {
			return Start{i, i}, true
		}
	}
	return Start{}, false
}

// OnDaylength begins on the first day whose day length has risen to (or fallen
// to) so many hours, having been on the other side the day before.
type OnDaylength struct {
	Hours   float64
	Falling bool
}

// Start implements Biofix.
func (b OnDaylength) Start(s Season) (Start, bool) {
	length := func(i int) float64 { return sun.Day(s.date(i), s.LatDeg, 0).DaylengthHours }
	before := length(-1)
	for i := range s.MeanC {
		now := length(i)
		if !b.Falling && before < b.Hours && now >= b.Hours || b.Falling && before > b.Hours && now <= b.Hours {
			return Start{i, i}, true
		}
		before = now
	}
	return Start{}, false
}

// Crossing begins on the first of so many days in a row with a daily mean at or
// above a temperature. It is known on the last of them. A missing day breaks
// the row.
type Crossing struct {
	AtLeastC float64
	Days     int
	From     time.Month // months before it are passed over; 0 for none
}

// Start implements Biofix.
func (b Crossing) Start(s Season) (Start, bool) {
	n := max(b.Days, 1)
	row := 0
	for i, t := range s.MeanC {
		if s.date(i).Month() < b.From || !(t >= b.AtLeastC) {
			row = 0
			continue
		}
		if row++; row == n {
			return Start{i - n + 1, i}, true
		}
	}
	return Start{}, false
}

// IceOff begins after the last ice of the season's first half: on the first of
// so many days in a row above IceC that follow a day at or below it. Without a
// day of ice there is no ice-off, and the caller falls back on a date. A later
// freeze begins it anew, up to HalfDays into the season.
type IceOff struct {
	IceC     float64 // at or below it the water counts as iced; 0.2 is our own default
	Days     int
	HalfDays int // days of the season looked at; 0 for 182
}

// Start implements Biofix.
func (b IceOff) Start(s Season) (Start, bool) {
	n, until := max(b.Days, 1), b.HalfDays
	if until == 0 {
		until = 182
	}
	iced, row := false, 0
	var found Start
	ok := false
	for i := range min(until, len(s.MeanC)) {
		t := s.MeanC[i]
		switch {
		case t <= b.IceC:
			iced, row, ok = true, 0, false
		case math.IsNaN(t):
			row = 0
		case iced:
			if row++; row == n && !ok {
				found, ok = Start{i - n + 1, i}, true
			}
		}
	}
	return found, ok
}

func (s Season) date(i int) time.Time {
	y, m, d := s.First.Date()
	return time.Date(y, m, d+i, 0, 0, 0, 0, time.UTC)
}
