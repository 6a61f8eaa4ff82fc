package nws

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// longest is the longest interval taken for real; a forecast reaches eight
// days.
const longest = 31 * 24 * time.Hour

// parseInterval reads "2022-02-03T21:00:00+00:00/PT1H".
func parseInterval(s string) (start time.Time, d time.Duration, err error) {
	a, b, ok := strings.Cut(s, "/")
	if !ok {
		return start, 0, fmt.Errorf("%q is not a start and a duration", clip(s))
	}
	if start, err = parseTime(a); err != nil {
		return start, 0, err
	}
	d, err = parseDuration(b)
	return start, d, err
}

func parseTime(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, fmt.Errorf("%q is not an instant with its offset", clip(s))
	}
	if err := ingest.YearInRange(t); err != nil {
		return t, fmt.Errorf("%q %w", clip(s), err)
	}
	return t.UTC(), nil
}

// parseDuration reads the ISO 8601 durations that the service uses: days,
// hours, minutes and seconds. Months and years have no fixed length and are
// refused.
func parseDuration(s string) (time.Duration, error) {
	fail := fmt.Errorf("%q is not a duration in days and hours", clip(s))
	rest, ok := strings.CutPrefix(s, "P")
	if !ok || rest == "" {
		return 0, fail
	}
	var sum time.Duration
	units := "D"
	for rest != "" {
		if rest[0] == 'T' && units == "D" || rest[0] == 'T' && units == "" {
			units, rest = "HMS", rest[1:]
			if rest == "" {
				return 0, fail
			}
			continue
		}
		n := 0
		for n < len(rest) && rest[n] >= '0' && rest[n] <= '9' {
			n++
		}
		if n == 0 || n == len(rest) || n > 6 {
			return 0, fail
		}
		i := strings.IndexByte(units, rest[n])
		if i < 0 {
			return 0, fail
		}
		v, _ := strconv.Atoi(rest[:n])
		unit := map[byte]time.Duration{'D': 24 * time.Hour, 'H': time.Hour, 'M': time.Minute, 'S': time.Second}[rest[n]]
		sum += time.Duration(v) * unit
		units, rest = units[i+1:], rest[n+1:]
	}
	if sum <= 0 || sum > longest {
		return 0, fmt.Errorf("%q is not between nothing and %d days", clip(s), int(longest.Hours()/24))
	}
	return sum, nil
}
