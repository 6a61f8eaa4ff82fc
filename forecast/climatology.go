package forecast

import (
	"math"
	"time"
)

// seasonWindow is the half width, in days, of the window over which a normal
// is averaged: wide enough for a few seasons to give a smooth year, narrow
// enough not to flatten the spring rise. Our own default.
const seasonWindow = 7

// climatology is the mean of a daily column by day of the year, over all years and
// the days around; NaN where nothing is known within the window. Index 0 is
// 1 January; 29 February shares the day of 1 March.
func climatology(day0 Date, v []float64) [365]float64 {
	var sum, n [365]float64
	for i := 0; i < len(v); {
		// By year: to put each day alone into the calendar takes a while.
		k, leap, end := daysOfYear(day0, i, len(v))
		for ; i < end; i++ {
			if x := v[i]; !math.IsNaN(x) {
				at := k
				if leap && k >= leapDay {
					at--
				}
				sum[at] += x
				n[at]++
			}
			k++
		}
	}
	var out [365]float64
	for k := range out {
		s, m := 0.0, 0.0
		for j := -seasonWindow; j <= seasonWindow; j++ {
			i := (k + j + 365) % 365
			s += sum[i]
			m += n[i]
		}
		out[k] = s / m // NaN where m is 0
	}
	return out
}

// leapDay is the place of 29 February in its year, counted from 0.
const leapDay = 59

// daysOfYear returns the place in its year, counted from 0, of the i-th day of a column,
// whether that year is a leap year, and the index of the first day after it, at most n.
func daysOfYear(day0 Date, i, n int) (first int, leap bool, end int) {
	d := day0 + Date(i)
	t := d.Time()
	next := DateOf(time.Date(t.Year()+1, time.January, 1, 0, 0, 0, 0, time.UTC))
	first = t.YearDay() - 1
	return first, first+int(next-d) == 366, min(n, int(next-day0))
}

// dayOfYear counts from 0 in a year of 365 days.
func dayOfYear(d Date) int {
	k, leap, _ := daysOfYear(d, 0, 1)
	if leap && k >= leapDay {
		k--
	}
	return k
}

// seasonsOf counts the years of which at least three quarters of the days have
// a value: the seasons that stand behind a normal.
func seasonsOf(day0 Date, v []float64, before Date) int {
	last, n := DateOf(time.Date(before.Time().Year(), time.January, 1, 0, 0, 0, 0, time.UTC)), 0
	for i := 0; i < len(v) && day0+Date(i) < last; {
		_, _, end := daysOfYear(day0, i, len(v))
		if count(v[i:end]) >= 274 {
			n++
		}
		i = end
	}
	return n
}
