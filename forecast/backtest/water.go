package backtest

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

// Water is daily mean water temperature, by site and year.
type Water struct {
	// Years holds the days from 1 January, °C, NaN where unknown.
	Years map[string]map[int][]float64
	// AnnualOnly tells that no year has more than one value, however often
	// repeated. Such a mean is known only when the year is over, so no forecast
	// made within the year may use it.
	AnnualOnly bool
	// Repeated counts days that the table holds more than once, with different
	// values: their mean is taken.
	Repeated int
}

// Of is the water of a site in a year: its own, or that of a table without
// sites. nil if there is none.
func (w *Water) Of(site string, year int) []float64 {
	if w == nil || w.AnnualOnly {
		return nil
	}
	if y, ok := w.Years[site][year]; ok {
		return y
	}
	return w.Years[""][year]
}

// ReadWater reads a table with the columns date (or year) and temp_c, and
// perhaps site. Days missing or empty are gaps.
func ReadWater(name string, in io.Reader) (*Water, error) {
	t, err := openTable(name, in, []string{"temp_c"}, []string{"date", "year", "site"})
	if err != nil {
		return nil, err
	}
	if !t.has("date") && !t.has("year") {
		return nil, fmt.Errorf("%s:1: no column %q: the header must name date and temp_c", name, "date")
	}
	w := &Water{Years: map[string]map[int][]float64{}, AnnualOnly: true}
	type siteDay struct {
		site string
		day  time.Time
	}
	again := map[siteDay]float64{} // readings of the day beside the first
	for {
		row, err := t.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		day, err := date(row["date"])
		if !t.has("date") {
			day, err = date(row["year"] + "-01-01")
		}
		if err != nil {
			return nil, t.fault(err)
		}
		if missing(row["temp_c"]) {
			continue
		}
		v, err := number(row["temp_c"], -10, 60)
		if err != nil {
			return nil, t.fault(fmt.Errorf("temp_c %w", err))
		}
		site, year := row["site"], day.Year()
		if w.Years[site] == nil {
			w.Years[site] = map[int][]float64{}
		}
		y := w.Years[site][year]
		if y == nil {
			y = make([]float64, daysIn(year))
			for i := range y {
				y[i] = math.NaN()
			}
			w.Years[site][year] = y
		}
		i := day.YearDay() - 1
		if math.IsNaN(y[i]) {
			y[i] = v
			continue
		}
		at := siteDay{site, day}
		n := again[at] + 1
		if n == 1 && v != y[i] {
			w.Repeated++
		}
		again[at] = n
		y[i] += (v - y[i]) / (n + 1)
	}
	if len(w.Years) == 0 {
		return nil, fmt.Errorf("%s: no temperature below the header", name)
	}
	for _, years := range w.Years {
		for _, y := range years {
			first := math.NaN()
			for _, v := range y {
				if math.IsNaN(first) {
					first = v
				} else if !math.IsNaN(v) && v != first {
					w.AnnualOnly = false
				}
			}
		}
	}
	return w, nil
}

func daysIn(year int) int {
	return time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay()
}
