package ingest

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// longestPeriod is the longest period taken for real.
const longestPeriod = 31 * 24 * time.Hour

// ParsePeriod reads an ISO 8601 duration of days, hours, minutes and seconds.
// Months and years have no fixed length and are refused.
func ParsePeriod(s string) (time.Duration, error) {
	fail := fmt.Errorf("%q is not a duration in days and hours", short(s))
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
	if sum <= 0 || sum > longestPeriod {
		return 0, fmt.Errorf("%q is not between 0 and %d days", short(s), int(longestPeriod.Hours()/24))
	}
	return sum, nil
}

// PeriodOf spells a length as Series.Period does: whole days as "P1D", else
// whole hours, minutes or seconds. "" is the answer to anything finer.
func PeriodOf(d time.Duration) string {
	for _, u := range []struct {
		unit time.Duration
		form string
	}{{24 * time.Hour, "P%dD"}, {time.Hour, "PT%dH"}, {time.Minute, "PT%dM"}, {time.Second, "PT%dS"}} {
		if d > 0 && d%u.unit == 0 {
			return fmt.Sprintf(u.form, d/u.unit)
		}
	}
	return NoPeriod
}

func short(s string) string {
	if len(s) > 40 {
		return strings.ToValidUTF8(s[:40], "") + "..."
	}
	return s
}
