package forecast

import "math"

// seasonWindow is the half width, in days, of the window over which a normal
// is averaged: wide enough for a few seasons to give a smooth year, narrow
// enough not to flatten the spring rise. Our own default.
const seasonWindow = 7

// climatology is the mean of a daily column by day of the year, over all years and
// the days around; NaN where nothing is known within the window. Index 0 is
// 1 January; 29 February shares the day of 1 March.
func climatology(day0 Date, v []float64) [365]float64 {
	var sum, n [365]float64
	for i, x := range v {
		if !math.IsNaN(x) {
			k := dayOfYear(day0 + Date(i))
			sum[k] += x
			n[k]++
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

// dayOfYear counts from 0 in a year of 365 days.
func dayOfYear(d Date) int {
	t := d.Time()
	k := t.YearDay() - 1
	if t.Year()%4 == 0 && (t.Year()%100 != 0 || t.Year()%400 == 0) && k >= 59 {
		k--
	}
	return k
}

// seasonsOf counts the years of which at least three quarters of the days have
// a value: the seasons that stand behind a normal.
func seasonsOf(day0 Date, v []float64, before Date) int {
	have := map[int]int{}
	for i, x := range v {
		if d := day0 + Date(i); !math.IsNaN(x) && d < before {
			have[d.Time().Year()]++
		}
	}
	n := 0
	for y, days := range have {
		if days >= 274 && y < before.Time().Year() {
			n++
		}
	}
	return n
}
