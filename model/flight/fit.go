package flight

import (
	"math"
	"slices"
	"sort"
)

// Record is a dated record of one group.
type Record struct {
	Day   int     // of the season-year, 1 the first
	Year  int     // the season; 0 where it is not known
	North float64 // degrees of latitude towards the pole from where the window stands
	Up    float64 // hundreds of metres above it; 0 where that is not known
}

// Book is a window of the literature, in days of the season-year.
type Book struct {
	Start, Median, End float64 // 5, 50 and 95 % of the season
	MedianSD           float64 // how far the median may be off, days
	PerDegree, Per100M float64 // by how many days a season is thought to be later towards the pole and uphill
}

// Range is the 10, 50 and 90 % points of what is known of a day.
type Range struct{ Low, Mid, High float64 }

// Width of the 80 % interval, days.
func (i Range) Width() float64 { return i.High - i.Low }

// Slope is by how many days a season is later for a step north or up.
type Slope struct{ Days, SDDays float64 }

// moved is a day moved by some more, known to that standard deviation.
func (i Range) moved(days, sd float64) Range {
	wider := func(flank float64) float64 { return math.Hypot(flank, z80*sd) }
	return Range{i.Mid + days - wider(i.Mid-i.Low), i.Mid + days, i.Mid + days + wider(i.High-i.Mid)}
}

// Window is a season as the records tell it.
type Window struct {
	Records, Years     int   // Years is 0 where no record tells its own
	Start, Median, End Range // days by which 5, 50 and 95 % of the activity have passed
	PerDegree, Per100M Slope
	Gain               float64 // log-likelihood of a held-out record above the book's
	Replaces           bool    // the records' window may stand in place of the book's
}

// Our own defaults.
const (
	wrong    = 0.03 // share of records of another insect or date
	fewest   = 30   // records below which the book stays
	fewYears = 3    // seasons below which it does: one warm spring is no window
	foldsOf  = 4    // a fourth of the seasons, or of the records, is held out to judge the rest
	widest   = 45   // how far the median may lie from the book's, days
	spreadSD = 0.5  // of the logarithm of a flank's length around the book's
	leastSD  = 12.0 // of the median around the book's, days
	levels   = 13   // lengths that are tried for each flank
	slopeSD  = 0.5  // of a slope, as a share of what the book thinks of it
	leastPer = 0.5  // and at the least, days for a degree or for 100 m
	slopes   = 9    // slopes that are tried each way
	farthest = 60   // how far a place may move a season, days
	z90      = 1.6449
	z80      = 1.2816
)

// MedianSD is how far the median of the seasons to come may lie from the records':
// what the records leave open, and what so few seasons do.
func (w Window) MedianSD() float64 {
	return math.Hypot(w.Median.Width()/(2*z80), shiftSD/math.Sqrt(float64(max(1, w.Years))))
}

// Fit works out a season from its records, at the place from which they count
// degrees and metres. Few records leave the book's window, which is the prior.
func Fit(records []Record, effort Effort, book Book) Window {
	years := map[int]bool{}
	places := false
	var north, up float64 // the middle of the records, where slopes and dates do not hang together
	for _, r := range records {
		if r.Year != 0 {
			years[r.Year] = true
		}
		places = places || r.North != 0 || r.Up != 0
		north, up = north+r.North/float64(len(records)), up+r.Up/float64(len(records))
	}
	records = slices.Clone(records)
	sort.SliceStable(records, func(i, j int) bool { return records[i].Day < records[j].Day })
	for i := range records {
		records[i].North, records[i].Up = records[i].North-north, records[i].Up-up
	}
	there := north*book.PerDegree + up*book.Per100M
	book.Start, book.Median, book.End = book.Start+there, book.Median+there, book.End+there
	g := newGrid(book, &effort)
	w := Window{Records: len(records), Years: len(years)}
	w.PerDegree, w.Per100M = g.slope(book.PerDegree), g.slope(book.Per100M)
	if places {
		w.PerDegree, w.Per100M = g.fitSlopes(records, w.PerDegree, w.Per100M)
	}
	g.fit(g.seen(records, w.PerDegree.Days, w.Per100M.Days))
	w.Start, w.Median, w.End = g.interval(0.05), g.interval(0.5), g.interval(0.95)
	for _, r := range []*Range{&w.Start, &w.Median, &w.End} {
		*r = r.moved(-north*w.PerDegree.Days-up*w.Per100M.Days, math.Hypot(north*w.PerDegree.SDDays, up*w.Per100M.SDDays))
	}
	if len(records) < fewest || w.Years > 0 && w.Years < fewYears {
		return w
	}
	w.Gain = g.gain() / float64(len(records))
	sd := math.Max(1, book.MedianSD)
	w.Replaces = w.Gain > 0 && w.Median.Width() < 2*z80*sd
	return w
}
