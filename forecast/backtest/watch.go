package backtest

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"example.org/eclose/model/phenology"
)

const (
	// watchDays is the least number of days that one watch of a trap covers.
	watchDays = 7
	// watchesMost bounds how many watches before the issue are looked at: half a
	// year of weeks.
	watchesMost = 26
	// numbersHalfLife is the half-life of a season's weight for the numbers of
	// the next, in years.
	numbersHalfLife = 4.0
	// leastNumbersSD is the least standard deviation of the logarithm of numbers.
	leastNumbersSD = 0.6
)

// watches are what was caught or sighted of the taxon in a season before a day of
// the year. Visits to the site without a catch of the taxon count as none; a site
// that nobody visited that year gives no watch.
func (s *Series) watches(year, issue int) []phenology.Watch {
	var rows []Record
	for _, r := range s.byYear[year] {
		if dayOf(r.Date, year) < issue {
			rows = append(rows, r)
		}
	}
	switch {
	case s.words:
		return sightings(rows, year)
	case s.hours:
		return nights(rows, year)
	}
	return s.emptyings(rows, year, issue)
}

// emptyings are the watches of a trap whose catch is all since the last visit:
// visits are joined until a watch covers a week.
func (s *Series) emptyings(rows []Record, year, issue int) []phenology.Watch {
	counts := map[int]float64{}
	for _, r := range rows {
		counts[dayOf(r.Date, year)] += r.Count
	}
	days := s.visitsBefore(year, issue)
	if s.catchesOnly && usualGap(days) <= oftenDays && s.running(year, issue) {
		return weeks(counts, 1+s.shift, issue)
	}
	var out []phenology.Watch
	for i := len(days) - 1; i >= 0 && len(out) < watchesMost; i-- {
		w := phenology.Watch{From: float64(days[i] + 1 - watchDays), To: float64(days[i] + 1), Count: counts[days[i]], Effort: 1}
		if i > 0 {
			gap := days[i] - days[i-1]
			if gap > widestGap && w.Count == 0 {
				continue // nobody was there
			}
			w.From = float64(days[i] + 1 - min(gap, widestGap))
		}
		if n := len(out); n > 0 && out[n-1].From == w.To && out[n-1].To-out[n-1].From < watchDays {
			out[n-1].From, out[n-1].Count = w.From, out[n-1].Count+w.Count
			continue
		}
		out = append(out, w)
	}
	return out
}

// oftenDays is how many days may usually pass from visit to visit for a table of
// catches alone to be read as one of daily visits.
const oftenDays = 3

// weeks are the watches, back from a day, of a trap that was visited nearly every
// day, by a table that lists catches only: a day without a row counts as one
// without a catch.
func weeks(counts map[int]float64, begin, issue int) []phenology.Watch {
	var out []phenology.Watch
	for to := issue; to-watchDays >= begin && len(out) < watchesMost; to -= watchDays {
		w := phenology.Watch{From: float64(to - watchDays), To: float64(to), Effort: 1}
		for d := to - watchDays; d < to; d++ {
			w.Count += counts[d]
		}
		out = append(out, w)
	}
	return out
}

// visitsBefore are the days of a season, before another, on which anything was
// caught at the site.
func (s *Series) visitsBefore(year, issue int) []int {
	var days []int
	for _, v := range s.visits {
		if d := dayOf(v, year); d >= 1+s.shift && d < issue {
			days = append(days, d)
		}
	}
	return days
}

// usualGap is the median time from one visit to the next, days; 1 where too few
// visits tell.
func usualGap(days []int) int {
	var gaps []float64
	for i := 1; i < len(days); i++ {
		gaps = append(gaps, float64(days[i]-days[i-1]))
	}
	if len(gaps) < 3 {
		return 1
	}
	return int(median(gaps))
}

// running reports whether the trap was in use before a day: visited within the year
// before it.
func (s *Series) running(year, day int) bool {
	for _, v := range s.visits {
		if d := dayOf(v, year); d < day && d >= day-366 {
			return true
		}
	}
	return false
}

// nights are the watches of a trap that was open for some hours: binned by weeks,
// the effort being hours a day.
func nights(rows []Record, year int) []phenology.Watch {
	var out []phenology.Watch
	last := math.MinInt
	for _, r := range rows {
		b := floorDiv(dayOf(r.Date, year), binDays)
		if len(out) == 0 || b != last {
			out = append(out, phenology.Watch{From: float64(b * binDays), To: float64((b + 1) * binDays)})
			last = b
		}
		w := &out[len(out)-1]
		w.Count += r.Count
		w.Effort += r.Hours / binDays
	}
	return out
}

// sightingHours is how long a sighting without hours is taken to have watched.
// Our own default, the two hours of a probability.
const sightingHours = 2.0

func sightings(rows []Record, year int) []phenology.Watch {
	var out []phenology.Watch
	for _, r := range rows {
		d := float64(dayOf(r.Date, year))
		w := phenology.Watch{From: d, To: d + 1, Hours: r.Hours}
		if w.Hours == 0 {
			w.Hours = sightingHours
		}
		switch {
		case r.Count >= amountOf["many"]:
			w.Amount = phenology.Many
		case r.Count > 0:
			w.Amount = phenology.Few
		}
		out = append(out, w)
	}
	return out
}

// numbers are those of a season to come, recent seasons weighing more. Seasons
// too small for a date count too.
func (s *Series) numbers(year int, train func(int) bool) phenology.Numbers {
	var logs, weights []float64
	for _, y := range slices.Sorted(maps.Keys(s.byYear)) { // sums must not depend on the order
		c := catchOf(s.byYear[y], y, s.hours)
		if !train(y) || c.total <= 0 {
			continue
		}
		logs = append(logs, math.Log(c.total+0.5))
		weights = append(weights, math.Exp2(-math.Abs(float64(y-year))/numbersHalfLife))
	}
	mean := stat.Mean(logs, weights)
	return phenology.Numbers{MeanLog: mean, SDLog: math.Max(leastNumbersSD, math.Sqrt(stat.MomentAbout(2, logs, mean, weights)))}
}

// curve is a season's catch by day from its median.
func (x *Season) curve(hours bool) phenology.CatchCurve {
	c := catchOf(x.rows, x.Year, hours)
	var out phenology.CatchCurve
	for i, d := range c.days {
		out.Offset, out.Count = append(out.Offset, d-x.Median), append(out.Count, c.amounts[i])
	}
	return out
}
