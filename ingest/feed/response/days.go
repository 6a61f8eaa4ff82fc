package response

import (
	"iter"
	"time"
)

// Days cuts the days of [from, to) into spans of some years and days, for requests that
// name a first and a last day, both included.
func Days(from, to time.Time, years, days int) iter.Seq2[time.Time, time.Time] {
	return func(yield func(first, last time.Time) bool) {
		end := to.Add(-time.Nanosecond).UTC().Truncate(24 * time.Hour)
		for d := from.UTC().Truncate(24 * time.Hour); !d.After(end); d = d.AddDate(years, 0, days) {
			last := d.AddDate(years, 0, days-1)
			if last.After(end) {
				last = end
			}
			if !yield(d, last) {
				return
			}
		}
	}
}
