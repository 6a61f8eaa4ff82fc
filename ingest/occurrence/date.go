package occurrence

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// ParseDates reads an eventDate: a day, a moment with or without zone, a month,
// a year, or an interval of two of these (ISO 8601, as Darwin Core recommends).
// It returns the first and the last day as midnight UTC. A moment keeps the
// civil date of its own zone; a second half such as "12" or "06-12" borrows what
// it lacks from the first.
func ParseDates(s string) (first, last time.Time, err error) {
	s = strings.TrimSpace(s)
	a, b, interval := strings.Cut(s, "/")
	if first, last, err = parseDate(a); err != nil || !interval {
		return first, last, err
	}
	b = strings.TrimSpace(b)
	if d, _, _ := strings.Cut(b, "T"); len(d) < 4 || len(d) == 5 && d[2] == '-' {
		b = a[:max(0, len(strings.TrimSpace(a))-len(b))] + b
	}
	_, last, err = parseDate(b)
	if err == nil && last.Before(first) {
		err = fmt.Errorf("%q ends before it begins", ingest.Clip(s))
	}
	return first, last, err
}

func parseDate(s string) (first, last time.Time, err error) {
	s = strings.TrimSpace(s)
	bad := fmt.Errorf("%q is not a date", ingest.Clip(s))
	day, clock, timed := strings.Cut(s, "T")
	if !timed {
		day, clock, timed = strings.Cut(s, " ")
	}
	if timed && !strings.Contains(clock, ":") && len(clock) < 2 {
		return first, last, bad
	}
	switch len(day) {
	case len("2006-01-02"):
		first, err = time.Parse(time.DateOnly, day)
		last = first
	case len("2006-01"):
		first, err = time.Parse("2006-01", day)
		last = first.AddDate(0, 1, -1)
	case len("2006"):
		first, err = time.Parse("2006", day)
		last = first.AddDate(1, 0, -1)
	default:
		err = bad
	}
	if err != nil || timed && len(day) < len("2006-01-02") || first.Year() < 1600 {
		return time.Time{}, time.Time{}, bad
	}
	return first, last, nil
}

// partsDate is the date of the columns year, month and day, where eventDate is
// missing. ok is false if they name no day, month or year.
func partsDate(year, month, day string) (first, last time.Time, ok bool) {
	parts := []string{strings.TrimSpace(year)}
	for _, p := range []string{month, day} {
		n, err := strconv.Atoi(strings.TrimSpace(p))
		if err != nil {
			break
		}
		parts = append(parts, fmt.Sprintf("%02d", n))
	}
	first, last, err := parseDate(strings.Join(parts, "-"))
	return first, last, err == nil
}
