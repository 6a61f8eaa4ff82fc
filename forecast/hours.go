package forecast

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/model/sun"
)

// Span is a part of a day on the river's clock, in minutes from midnight. To may lie
// past midnight, above 1440.
type Span struct{ From, To int }

// String is the span as it is printed: "11:30-15:00".
func (s Span) String() string { return clockOf(s.From) + "-" + clockOf(s.To) }

func clockOf(minute int) string {
	minute = ((minute % 1440) + 1440) % 1440
	return time.Date(2000, 1, 1, minute/60, minute%60, 0, 0, time.UTC).Format("15:04")
}

// Spans reads the hours of a stage, such as "05:00-10:00 and 19:00-23:00". It returns
// none for hours that are empty or in sun time.
func Spans(hours string) []Span {
	var out []Span
	for part := range strings.SplitSeq(hours, " and ") {
		from, to, ok := strings.Cut(part, "-")
		a, err1 := minuteOf(from)
		b, err2 := minuteOf(to)
		if !ok || err1 != nil || err2 != nil {
			continue
		}
		if b <= a {
			b += 1440
		}
		out = append(out, Span{a, b})
	}
	return out
}

func minuteOf(s string) (int, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return strconv.Atoi(s) // an error too
	}
	return t.Hour()*60 + t.Minute(), nil
}

// merged joins spans that overlap or touch, the earliest first.
func merged(spans []Span) []Span {
	spans = slices.Clone(spans)
	slices.SortFunc(spans, func(a, b Span) int { return a.From - b.From })
	var out []Span
	for _, s := range spans {
		if n := len(out); n > 0 && s.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

// LitShare is the share of the hours of a stage on a date that lie between civil dawn
// and civil dusk at a place in degrees, 0 to 1. It is 1 where the hours or the sun are
// unknown.
func LitShare(hours string, d Date, zone string, lat, lon float64) float64 {
	x := sun.Day(d.Time(), lat, lon)
	spans := Spans(hours)
	if len(spans) == 0 || x.CivilState != sun.Crosses {
		return 1
	}
	loc := ZoneOf(zone)
	y, m, day := d.Time().Date()
	lit, all := 0.0, 0.0
	for _, s := range spans {
		from := time.Date(y, m, day, 0, s.From, 0, 0, loc)
		to := time.Date(y, m, day, 0, s.To, 0, 0, loc)
		all += to.Sub(from).Minutes()
		a, b := from, to
		if x.CivilDawn.After(a) {
			a = x.CivilDawn
		}
		if x.CivilDusk.Before(b) {
			b = x.CivilDusk
		}
		lit += max(0, b.Sub(a).Minutes())
	}
	return lit / all
}
