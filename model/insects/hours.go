package insects

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Anchor is what a span of hours is counted from.
type Anchor string

// The anchors. Clock is local solar time.
const (
	Clock   Anchor = "clock"
	Sunrise Anchor = "sunrise"
	Sunset  Anchor = "sunset"
)

// Span is a part of the day: minutes of local solar time for Clock, minutes
// from the event (negative: before) for the others. It holds in water between
// two temperatures, which are -Inf and +Inf where the water does not matter.
type Span struct {
	Anchor     Anchor
	From, To   int
	MinC, MaxC float64
}

// Hours are the parts of the day in which a stage happens.
type Hours []Span

// In is the hours in water of a daily mean, °C. Where it is not known (NaN), or
// no span holds, all of them.
func (h Hours) In(waterC float64) Hours {
	var out Hours
	for _, s := range h {
		if waterC >= s.MinC && waterC <= s.MaxC {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return h
	}
	return out
}

// On turns the spans into minutes of the day, given sunrise and sunset in
// minutes of the same clock. A span may run past midnight (above 1440).
func (h Hours) On(sunriseMin, sunsetMin int) [][2]int {
	out := make([][2]int, len(h))
	for i, s := range h {
		off := 0
		switch s.Anchor {
		case Sunrise:
			off = sunriseMin
		case Sunset:
			off = sunsetMin
		case Clock: // minutes of the day already
		}
		out[i] = [2]int{s.From + off, s.To + off}
	}
	return out
}

// String is the hours in words.
func (h Hours) String() string {
	words := make([]string, len(h))
	for i, s := range h {
		if s.Anchor == Clock {
			words[i] = fmt.Sprintf("%02d:%02d-%02d:%02d sun time", s.From/60, s.From%60, s.To/60, s.To%60)
		} else {
			words[i] = fmt.Sprintf("%s to %s %s", offset(s.From), offset(s.To), s.Anchor)
		}
		if !math.IsInf(s.MinC, -1) {
			words[i] += fmt.Sprintf(" in water above %g °C", s.MinC)
		}
		if !math.IsInf(s.MaxC, 1) {
			words[i] += fmt.Sprintf(" in water below %g °C", s.MaxC)
		}
	}
	return strings.Join(words, ", ")
}

func offset(min int) string {
	switch {
	case min == 0:
		return "0 min"
	case min < 0:
		return duration(-min) + " before"
	}
	return duration(min) + " after"
}

func duration(min int) string {
	if min%60 == 0 {
		return fmt.Sprintf("%d h", min/60)
	}
	return fmt.Sprintf("%d min", min)
}

// parseHours reads spans parted by blanks: clock:HH:MM-HH:MM, sunset:-60:+30.
// Behind an @ stands the water in which a span holds, °C: @12.., @..16 or @9..16.
func parseHours(s string) (Hours, error) {
	var out Hours
	for p := range strings.FieldsSeq(s) {
		when, water, gated := strings.Cut(p, "@")
		name, rest, _ := strings.Cut(when, ":")
		span := Span{Anchor: Anchor(name), MinC: math.Inf(-1), MaxC: math.Inf(1)}
		if gated && !span.readWater(water) {
			return nil, fmt.Errorf("%q is not a range of water temperature: write 12.., ..16 or 9..16", water)
		}
		var ok1, ok2 bool
		switch span.Anchor {
		case Clock:
			from, to, _ := strings.Cut(rest, "-")
			span.From, ok1 = clockMinutes(from)
			span.To, ok2 = clockMinutes(to)
		case Sunrise, Sunset:
			from, to, _ := strings.Cut(rest, ":")
			span.From, ok1 = offsetMinutes(from)
			span.To, ok2 = offsetMinutes(to)
		}
		if !ok1 || !ok2 || span.To <= span.From {
			return nil, fmt.Errorf("%q is not a span of hours: write clock:11:00-16:00, sunset:-60:+30 or sunrise:0:+120", p)
		}
		out = append(out, span)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no hours: write clock:11:00-16:00, sunset:-60:+30 or sunrise:0:+120")
	}
	return out, nil
}

func (s *Span) readWater(text string) bool {
	lo, hi, ok := strings.Cut(text, "..")
	if lo != "" {
		ok = ok && parseNumber(lo, 0, 40, &s.MinC) == nil
	}
	if hi != "" {
		ok = ok && parseNumber(hi, 0, 40, &s.MaxC) == nil
	}
	return ok && lo+hi != "" && s.MinC < s.MaxC
}

func clockMinutes(s string) (int, bool) {
	if len(s) != 5 || s[2] != ':' || !isDigits(s[:2]) || !isDigits(s[3:]) {
		return 0, false
	}
	h, _ := strconv.Atoi(s[:2])
	m, _ := strconv.Atoi(s[3:])
	return h*60 + m, h <= 24 && m < 60 && h*60+m <= 1440
}

func offsetMinutes(s string) (int, bool) {
	n, err := strconv.Atoi(s)
	return n, err == nil && n >= -720 && n <= 720
}
