package backtest

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
)

// line is one taxon at one site as the seasons of the fit show it.
type line struct {
	s        *Series
	fit      []int     // indexes of the seasons of the fit
	dates    []float64 // their median dates
	calendar Normal
	recent   Normal
	curve    phenology.UsualCurve // by which catches are read
	course   phenology.Course     // by which chances are worked out, as in an outlook
}

func newLine(s *Series, year int, train func(int) bool) (line, phenology.Taxon, bool) {
	l := line{s: s}
	var spreads, lengths, weights []float64
	var curves []phenology.CatchCurve
	for k := range s.Seasons {
		x := &s.Seasons[k]
		if !train(x.Year) {
			continue
		}
		l.fit, l.dates = append(l.fit, k), append(l.dates, float64(x.Median))
		spreads = append(spreads, float64(x.Q84-x.Q16)/2)
		lengths = append(lengths, float64(x.Q95-x.Q05)/insects.WindowSDs)
		weights = append(weights, math.Exp2(-math.Abs(float64(x.Year-year))/phenology.RecentHalfLife))
		curves = append(curves, x.curve(s.hours))
	}
	n := float64(len(l.dates))
	if len(l.dates) < leastOthers {
		return l, phenology.Taxon{}, false
	}
	mean, sd := stat.MeanStdDev(l.dates, nil)
	l.calendar = Normal{mean, math.Max(sd, leastCalendarSD) * math.Sqrt(1+1/n)}
	l.recent = recentCalendar(l.dates, weights)
	l.curve = phenology.NewUsualCurve(curves)
	l.course = phenology.Course{SpreadDays: math.Max(leastSpread, median(lengths)), SpreadCV: phenology.SeasonCV, Numbers: s.numbers(year, train), EggsFactor: 1}
	return l, phenology.Taxon{MedianDOY: mean, MedianSD: phenology.VagueSD, SpreadDays: math.Max(leastSpread, median(spreads))}, true
}

// watchReach is how long before the expected median date a watch counts, days.
// What was caught earlier belongs to another brood.
const watchReach = 150

// Our own defaults for short seasons and records, days.
const (
	leastSpread     = 1.0
	leastCalendarSD = 0.5
	leastRecentSD   = 1.0
)

// recentCalendar is the weighted mean of dates and what a further season strays
// from it.
func recentCalendar(dates, weights []float64) Normal {
	mean := stat.Mean(dates, weights)
	var sum, squares, sq float64
	for i, w := range weights {
		sum, squares = sum+w, squares+w*w
		sq += w * (dates[i] - mean) * (dates[i] - mean)
	}
	seasons := sum * sum / squares // worth of equal weight
	sd := math.Max(leastRecentSD, math.Sqrt(sq/sum*seasons/math.Max(seasons-1, 0.5)))
	return Normal{mean, sd * math.Sqrt(1+1/seasons)}
}

// watched is what was caught or sighted of the taxon in a season before the day of
// issue; i is its index and d its forecast. It says false if nobody watched.
func (l *line) watched(i, year, issue int, thermal float64, d phenology.MedianDate) (phenology.Watched, bool) {
	mean, _ := d.At(thermal)
	watches := slices.DeleteFunc(l.s.watches(year, issue), func(w phenology.Watch) bool { return w.From < mean-watchReach })
	return phenology.Watched{Taxon: i, Thermal: thermal, Curve: l.curve, Eggs: l.curve, Numbers: l.course.Numbers, Watches: watches}, len(watches) > 0
}
