package backtest

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Series is one taxon at one site.
type Series struct {
	Taxon, Site string
	Seasons     []Season

	rows   []Record
	byYear map[int][]Record // rows of all seasons, also of those not kept
	visits []time.Time      // of the site, by anybody's catch
	hours  bool
	words  bool
	// catchesOnly reports that the site's table holds no row without a catch.
	catchesOnly bool
	shift       int // first day of a season, from 1 January; below 0 in the year before
}

// Season is one season of a series. Days count from 1 January = 1 of Year.
type Season struct {
	Year   int
	Count  float64 // animals, or the sum of amounts
	Median int     // first day by which half of the season had passed
	Q05    int
	Q10    int
	Q16    int
	Q84    int
	Q90    int
	Q95    int

	rows []Record
}

// binDays is the width within which catches per hour are averaged: effort is
// uneven from night to night.
const binDays = 7

// Build splits records into series and seasons. A season is a calendar year,
// unless the taxon flies over New Year: then it begins in the taxon's emptiest
// fortnight. Seasons with less than least animals, and those that the record of
// the site does not cover, are left out.
func (rec Records) Build(least float64) []Series {
	type key struct{ taxon, site string }
	rows := map[key][]Record{}
	visits := map[string][]time.Time{}
	zeros := map[string]bool{}
	for _, r := range rec.Rows {
		k := key{r.Taxon, r.Site}
		zeros[r.Site] = zeros[r.Site] || r.Count == 0
		rows[k] = append(rows[k], r)
		if v := visits[r.Site]; len(v) == 0 || !v[len(v)-1].Equal(r.Date) {
			visits[r.Site] = append(v, r.Date)
		}
	}
	var out []Series
	for k, rs := range rows {
		s := Series{Taxon: k.taxon, Site: k.site, rows: rs, visits: visits[k.site], catchesOnly: !zeros[k.site], hours: rec.Hours, words: rec.Words, shift: shiftOf(rs)}
		s.byYear = map[int][]Record{}
		for _, r := range rs {
			y := s.yearOf(r.Date)
			s.byYear[y] = append(s.byYear[y], r)
		}
		for y, yr := range s.byYear {
			c := catchOf(yr, y, rec.Hours)
			if c.animals < least {
				continue
			}
			s.Seasons = append(s.Seasons, Season{Year: y, Count: c.animals, rows: yr,
				Q05: c.quantile(0.05), Q10: c.quantile(0.1), Q16: c.quantile(0.16), Median: c.quantile(0.5),
				Q84: c.quantile(0.84), Q90: c.quantile(0.9), Q95: c.quantile(0.95)})
		}
		slices.SortFunc(s.Seasons, func(a, b Season) int { return cmp.Compare(a.Year, b.Year) })
		s.covered(visits[k.site])
		if len(s.Seasons) > 0 {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b Series) int {
		return cmp.Or(cmp.Compare(a.Taxon, b.Taxon), cmp.Compare(a.Site, b.Site))
	})
	return out
}

// widestGap is the longest time without a visit that a season may hold between
// its usual start and end. Our own default.
const widestGap = 35

// covered drops seasons in which the site was not visited from the taxon's usual
// start (the 10 % day) to its usual end (90 %), or not for widestGap days in
// between: half a record has a middle too, but not the season's. A table that
// lists catches only does not tell when the watch began or ended: where most
// seasons have no visit before their first catch, or none after their last, that
// end is judged in the table's first season, or its last, alone.
func (s *Series) covered(visits []time.Time) {
	var starts, ends []float64
	var before, after []float64
	for _, x := range s.Seasons {
		starts, ends = append(starts, float64(x.Q10)), append(ends, float64(x.Q90))
		first, last := x.caughtBetween()
		begin := time.Date(x.Year, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, s.shift)
		before = append(before, within(visits, begin, first))
		after = append(after, within(visits, last.AddDate(0, 0, 1), begin.AddDate(1, 0, 0)))
	}
	start, end := int(median(starts)), int(median(ends))
	knowsStart, knowsEnd := median(before) > 0, median(after) > 0
	s.Seasons = slices.DeleteFunc(s.Seasons, func(x Season) bool {
		jan1 := time.Date(x.Year, 1, 1, 0, 0, 0, 0, time.UTC)
		from, to := jan1.AddDate(0, 0, start-1), jan1.AddDate(0, 0, end-1)
		first, latest := x.caughtBetween()
		if !knowsStart && first.After(from) && x.Year != s.yearOf(visits[0]) {
			from = first
		}
		if !knowsEnd && latest.Before(to) && x.Year != s.yearOf(visits[len(visits)-1]) {
			to = latest
		}
		i, _ := slices.BinarySearchFunc(visits, from, time.Time.Compare)
		if i < len(visits) && visits[i].Equal(from) {
			i++
		}
		if i == 0 {
			return true // the first visit came later
		}
		last := visits[i-1]
		if from.Sub(last) > widestGap*24*time.Hour {
			last = from.AddDate(0, 0, -widestGap)
		}
		for ; i < len(visits) && last.Before(to); i++ {
			if visits[i].Sub(last) > widestGap*24*time.Hour {
				return true
			}
			last = visits[i]
		}
		return last.Before(to)
	})
}

// caughtBetween are the days of the season's first and last catch.
func (s *Season) caughtBetween() (first, last time.Time) {
	for _, r := range s.rows {
		if r.Count > 0 {
			if first.IsZero() {
				first = r.Date
			}
			last = r.Date
		}
	}
	return first, last
}

// within counts the visits from a day on and before another.
func within(visits []time.Time, from, to time.Time) float64 {
	i, _ := slices.BinarySearchFunc(visits, from, time.Time.Compare)
	j, _ := slices.BinarySearchFunc(visits, to, time.Time.Compare)
	return float64(max(0, j-i))
}

// shiftOf is 0 for taxa that do not fly over New Year.
func shiftOf(rows []Record) int {
	var by [26]float64
	var total float64
	for _, r := range rows {
		by[min((r.Date.YearDay()-1)/14, 25)] += r.Count
		total += r.Count
	}
	const some = 0.02
	if by[0]+by[1] < some*total || by[24]+by[25] < some*total {
		return 0
	}
	least := 0
	for i := range by {
		if by[i] < by[least] {
			least = i
		}
	}
	d := least * 14
	if d > 182 {
		d -= 365
	}
	return d
}

func (s *Series) yearOf(d time.Time) int {
	return d.AddDate(0, 0, -s.shift).Year()
}

// dayOf is the day of a date counted from 1 January = 1 of a year.
func dayOf(d time.Time, year int) int {
	return int(math.Round(d.Sub(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)).Hours()/24)) + 1
}

// season is the kept season of a year.
func (s *Series) season(year int) (*Season, bool) {
	i, ok := slices.BinarySearchFunc(s.Seasons, year, func(x Season, y int) int { return cmp.Compare(x.Year, y) })
	if !ok {
		return nil, false
	}
	return &s.Seasons[i], true
}

// caught is the course of a season: how much on each day, in order.
type caught struct {
	days    []int
	amounts []float64
	total   float64
	animals float64
}

// catchOf sums rows up by day. Catches per hour are averaged over bins, the
// empty bins between joined by straight lines, each bin standing on its middle
// day. Nothing but the given rows enters, so rows cut at a day of issue give
// what could be known then.
func catchOf(rows []Record, year int, hours bool) caught {
	var c caught
	if !hours {
		for _, r := range rows {
			d := dayOf(r.Date, year)
			if n := len(c.days); n == 0 || c.days[n-1] != d {
				c.days, c.amounts = append(c.days, d), append(c.amounts, 0)
			}
			c.amounts[len(c.amounts)-1] += r.Count
			c.animals += r.Count
		}
		c.total = c.animals
		return c
	}
	var bins []int
	var counts, open []float64
	for _, r := range rows {
		b := floorDiv(dayOf(r.Date, year), binDays)
		if n := len(bins); n == 0 || bins[n-1] != b {
			bins, counts, open = append(bins, b), append(counts, 0), append(open, 0)
		}
		counts[len(counts)-1] += r.Count
		open[len(open)-1] += r.Hours
		c.animals += r.Count
	}
	for i, b := range bins {
		rate := counts[i] / open[i]
		if i > 0 {
			last := counts[i-1] / open[i-1]
			for k := bins[i-1] + 1; k < b; k++ {
				f := float64(k-bins[i-1]) / float64(b-bins[i-1])
				c.add(k, last+f*(rate-last))
			}
		}
		c.add(b, rate)
	}
	return c
}

func (c *caught) add(bin int, rate float64) {
	c.days, c.amounts = append(c.days, bin*binDays+binDays/2), append(c.amounts, rate*binDays)
	c.total += rate * binDays
}

// quantile is the first day by which the share q has passed.
func (c *caught) quantile(q float64) int {
	var sum float64
	for i, a := range c.amounts {
		if sum += a; sum >= q*c.total*(1-1e-12) {
			return c.days[i]
		}
	}
	return 0
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
