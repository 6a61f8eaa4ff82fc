package forecast

import (
	"slices"
	"sort"
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

// Hours are the hours of a stage on the river's clock; zero where they are unknown.
type Hours struct {
	Spans []Span // the earliest first
	// BySun is in the catalogue's words what stands in for them where the sun does not
	// rise and set on that day.
	BySun string
}

// First is the minute at which they begin, midnight at the end of the day where that is
// unknown.
func (h Hours) First() int {
	if len(h.Spans) == 0 {
		return 24 * 60
	}
	return h.Spans[0].From
}

// Short is the first span, with a mark where more follow; "" without any.
func (h Hours) Short() string {
	switch len(h.Spans) {
	case 0:
		return ""
	case 1:
		return h.Spans[0].String()
	}
	return h.Spans[0].String() + "+"
}

// String is the hours as files and tables have them: "05:00-10:00 and 19:00-23:00".
func (h Hours) String() string {
	if len(h.Spans) == 0 {
		return h.BySun
	}
	words := make([]string, len(h.Spans))
	for i, s := range h.Spans {
		words[i] = s.String()
	}
	return strings.Join(words, " and ")
}

// Words is the hours for people: "05:00 to 10:00 and 19:00 to 23:00".
func (h Hours) Words() string { return strings.ReplaceAll(h.String(), "-", " to ") }

// MarshalText writes them as String does.
func (h Hours) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (h *Hours) UnmarshalText(text []byte) error {
	*h = Hours{}
	for part := range strings.SplitSeq(string(text), " and ") {
		from, to, _ := strings.Cut(part, "-")
		a, ok1 := minuteOf(from)
		b, ok2 := minuteOf(to)
		if !ok1 || !ok2 {
			*h = Hours{BySun: string(text)}
			return nil
		}
		if b <= a {
			b += 1440
		}
		h.Spans = append(h.Spans, Span{a, b})
	}
	return nil
}

func minuteOf(s string) (int, bool) {
	t, err := time.Parse("15:04", s)
	return t.Hour()*60 + t.Minute(), err == nil
}

// merged joins spans that overlap or touch, the earliest first.
func merged(spans []Span) []Span {
	spans = slices.Clone(spans)
	sort.Slice(spans, func(i, j int) bool { return spans[i].From < spans[j].From })
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
func LitShare(hours Hours, d Date, zone string, lat, lon float64) float64 {
	x := sun.Day(d.Time(), lat, lon)
	if len(hours.Spans) == 0 || x.CivilState != sun.Crosses {
		return 1
	}
	loc := ZoneOf(zone)
	y, m, day := d.Time().Date()
	lit, all := 0.0, 0.0
	for _, s := range hours.Spans {
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
