package backtest

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"time"

	"example.org/eclose/ingest/table"
)

// Temperatures are daily mean water temperature, by site and year.
type Temperatures struct {
	// Years holds the days from 1 January, °C, NaN where unknown.
	Years map[string]map[int][]float64
	// AnnualOnly reports that no year has more than one value, however often
	// repeated. Such a mean is known only when the year is over, so no forecast
	// made within the year may use it.
	AnnualOnly bool
	// Repeated counts days that the table holds more than once, with different
	// values: their mean is taken.
	Repeated int
}

// airShare and airBaseC turn the daily mean of the air into that of the water
// where no water was measured: share x air + base, without lag. They are those
// with which the weights of the joint model were set; the model heeds departures
// only, so that a share that is off is made good by the weight.
const (
	airShare = 0.6
	airBaseC = 3.2
)

// ReadAir reads a table of daily mean air temperature, as ReadWater, and works
// out the water from it.
func ReadAir(name string, in io.Reader) (*Temperatures, error) {
	t, err := readTemperatures(name, in, -70)
	if err != nil {
		return nil, err
	}
	for _, years := range t.Years {
		for _, y := range years {
			for d := range y {
				y[d] = airShare*y[d] + airBaseC
			}
		}
	}
	return t, nil
}

// Or is w with the years of another table where w has none.
func (w *Temperatures) Or(other *Temperatures) *Temperatures {
	switch {
	case w == nil || w.AnnualOnly:
		if other == nil {
			return w
		}
		return other
	case other == nil || other.AnnualOnly:
		return w
	}
	for site, years := range other.Years {
		for y, daily := range years {
			if w.Of(site, y) != nil {
				continue
			}
			if w.Years[site] == nil {
				w.Years[site] = map[int][]float64{}
			}
			w.Years[site][y] = daily
		}
	}
	return w
}

// fit are the years of a site that may be fitted on, in order.
func (w *Temperatures) fit(site string, train func(year int) bool) [][]float64 {
	if w == nil || w.AnnualOnly {
		return nil
	}
	years := w.Years[site]
	if years == nil {
		years = w.Years[""]
	}
	var out [][]float64
	for _, y := range slices.Sorted(maps.Keys(years)) {
		if train(y) {
			out = append(out, years[y])
		}
	}
	return out
}

// years are those of which a site has water, in order.
func (w *Temperatures) years(site string) []int {
	if w == nil || w.AnnualOnly {
		return nil
	}
	if y := w.Years[site]; y != nil {
		return slices.Sorted(maps.Keys(y))
	}
	return slices.Sorted(maps.Keys(w.Years[""]))
}

// known reports whether a year's temperature is known well enough up to a day: nine
// days of ten.
func known(daily []float64, day int) bool {
	n := 0
	for d := 0; d < day && d < len(daily); d++ {
		if !math.IsNaN(daily[d]) {
			n++
		}
	}
	return daily != nil && float64(n) >= 0.9*float64(day)
}

// Of is the water of a site in a year: its own, or that of a table without
// sites. nil if there is none.
func (w *Temperatures) Of(site string, year int) []float64 {
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
func ReadWater(name string, in io.Reader) (*Temperatures, error) {
	return readTemperatures(name, in, -10)
}

func readTemperatures(name string, in io.Reader, lowest float64) (*Temperatures, error) {
	t, err := table.Open(name, in, []string{"temp_c"}, []string{"date", "year", "site"})
	if err != nil {
		return nil, err
	}
	if !t.Has("date") && !t.Has("year") {
		return nil, t.Fault(errors.New("column \"date\" is missing: the header needs date and temp_c"))
	}
	w := &Temperatures{Years: map[string]map[int][]float64{}, AnnualOnly: true}
	type siteDay struct {
		site string
		day  time.Time
	}
	again := map[siteDay]float64{} // readings of the day beside the first
	for {
		row, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		day, err := table.Date(row["date"])
		if !t.Has("date") {
			day, err = table.Date(row["year"] + "-01-01")
		}
		if err != nil {
			return nil, t.Fault(err)
		}
		if table.Missing(row["temp_c"]) {
			continue
		}
		v, err := table.Number(row["temp_c"], lowest, 60)
		if err != nil {
			return nil, t.Fault(fmt.Errorf("temp_c %w", err))
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
