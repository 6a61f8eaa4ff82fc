package series

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// Availability counts, year by year and month by month, the days (UTC) that
// have at least one reading which no check has failed. Days outside the first
// and last reading do not count at all.
type Availability struct {
	FirstYear int
	Years     []YearAvailability
}

// YearAvailability is one year: Covered of Days, January first.
type YearAvailability struct {
	Covered, Days [12]int
}

// Availability reads a series once.
func (s *Store) Availability(ctx context.Context, key ingest.Key) (Availability, error) {
	info, err := s.Info(ctx, key)
	if err != nil {
		return Availability{}, err
	}
	days, err := s.Daily(ctx, key, Query{}, DayRule{Unchecked: true})
	if err != nil {
		return Availability{}, err
	}
	a := Availability{FirstYear: info.First.Year(), Years: make([]YearAvailability, info.Last.Year()-info.First.Year()+1)}
	for d := info.First.Truncate(24 * time.Hour); !d.After(info.Last); d = d.AddDate(0, 0, 1) {
		a.Years[d.Year()-a.FirstYear].Days[d.Month()-1]++
	}
	for _, d := range days {
		// An hour that ends at the first midnight belongs to the day before.
		if y := d.Date.Year() - a.FirstYear; y >= 0 {
			m := &a.Years[y]
			m.Covered[d.Date.Month()-1] = min(m.Covered[d.Date.Month()-1]+1, m.Days[d.Date.Month()-1])
		}
	}
	return a, nil
}

// shades from no day of a month to every day.
const shadeLegend = "  · no day   ░ under a third of the days   ▒ under two thirds   ▓ more   █ every day\n"

func shade(covered, days int) string {
	switch {
	case days == 0:
		return " "
	case covered == 0:
		return "·"
	case covered == days:
		return "█"
	case 3*covered < days:
		return "░"
	case 3*covered < 2*days:
		return "▒"
	}
	return "▓"
}

// WriteChart draws the availability as text: a line a year, a mark a month.
func (a Availability) WriteChart(w io.Writer) error {
	var b strings.Builder
	b.WriteString("        J F M A M J J A S O N D   days\n")
	for i, y := range a.Years {
		covered, days := 0, 0
		fmt.Fprintf(&b, "  %04d ", a.FirstYear+i)
		for m := range 12 {
			b.WriteString(" " + shade(y.Covered[m], y.Days[m]))
			covered += y.Covered[m]
			days += y.Days[m]
		}
		fmt.Fprintf(&b, "  %3d of %3d\n", covered, days)
	}
	b.WriteString(shadeLegend)
	_, err := io.WriteString(w, b.String())
	return err
}
