package nws

import (
	"fmt"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// parseInterval reads "2022-02-03T21:00:00+00:00/PT1H".
func parseInterval(s string) (start time.Time, d time.Duration, err error) {
	a, b, ok := strings.Cut(s, "/")
	if !ok {
		return start, 0, fmt.Errorf("%q is not a start and a duration", ingest.Clip(s))
	}
	if start, err = parseTime(a); err != nil {
		return start, 0, err
	}
	d, err = ingest.ParsePeriod(b)
	return start, d, err
}

func parseTime(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, fmt.Errorf("%q is not a time with a UTC offset", ingest.Clip(s))
	}
	if err := ingest.YearInRange(t); err != nil {
		return t, fmt.Errorf("%q %w", ingest.Clip(s), err)
	}
	return t.UTC(), nil
}
