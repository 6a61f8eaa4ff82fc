package backtest

import (
	"fmt"
	"math"
	"slices"

	"example.org/eclose/model/phenology"
)

// Options say what is forecast from what.
type Options struct {
	// LeadDays is how long before the taxon's calendar date a forecast is
	// issued. What happened until the evening of that day is known to it.
	LeadDays int
	// Catches lets the forecast know what the season had brought of the taxon
	// itself until the issue.
	Catches bool
	// Others lets it know the dates of taxa whose season is over by then.
	Others bool
	// PastOnly fits on earlier seasons only, as a forecast in its own time
	// would have had to; otherwise on all other seasons.
	PastOnly bool
}

// Forecast is one hindcast of one season's median date.
type Forecast struct {
	Taxon, Site string
	Year        int
	Issue       int // day of the year, after which nothing was known
	Observed    float64
	Model       float64   // the model's date
	Members     []float64 // its distribution, as equally likely dates in order
	Water       bool      // the season's water temperature was known and used
	Calendar    float64   // mean of the other seasons
	CalendarSD  float64
}

const (
	// leastOthers is how many other seasons a date needs to be forecast from.
	leastOthers = 3
	// clip bounds what one odd season may teach, in standard deviations.
	clip = 2.5
	// shrinkSeasons and shrinkDays stand for what is believed of the spread of
	// dates between years before any: 8 days, worth three seasons. Medians of
	// stream insects move 5-12 days.
	shrinkSeasons = 3.0
	shrinkDays    = 8.0
	// blocks is into how many parts the seasons are split for fitting variances:
	// those used for a season come from the seasons of the other parts.
	blocks = 5
)

// What is known of a season at the issue, in the order of YearCase.X.
const (
	xThermal  = iota // date by degree-days so far and the normal to come
	xAutumn          // the same for autumn taxa
	xCaught          // log of the catch so far
	xCaughtOn        // its mean day
	xs
)

// slopes are what is believed before the data of a departure's response: to a
// thermal date one half, as worked out from published responses (5-7 days per
// °C against 12-17 of degree-days), almost nothing in autumn; a large early
// catch tells an early season, by how much is left open.
var slopes = []phenology.Slope{
	xThermal:  {Mean: 0.5, PoolSD: 0.25, TaxonSD: 0.2},
	xAutumn:   {Mean: 0.1, PoolSD: 0.1, TaxonSD: 0.05},
	xCaught:   {Mean: 0, PoolSD: 0.4, TaxonSD: 0.2},
	xCaughtOn: {Mean: 0, PoolSD: 0.4, TaxonSD: 0.2},
}

// Run makes a hindcast of every season that has enough others.
func Run(series []Series, water *Water, opt Options) ([]Forecast, error) {
	var years []int
	for _, s := range series {
		for _, x := range s.Seasons {
			if !slices.Contains(years, x.Year) {
				years = append(years, x.Year)
			}
		}
	}
	slices.Sort(years)
	models := make(map[int]phenology.YearModel)
	var out []Forecast
	for i, year := range years {
		block := i * blocks / len(years)
		train := func(y int) bool { return y != year && (!opt.PastOnly || y < year) }
		m, ok := models[block]
		if !ok || opt.PastOnly {
			// Variances come from seasons outside the block.
			rest := func(y int) bool {
				j, _ := slices.BinarySearch(years, y)
				return train(y) && (opt.PastOnly || j*blocks/len(years) != block)
			}
			var err error
			if m, err = newFold(series, water, opt, year, rest).fit(); err != nil {
				return nil, fmt.Errorf("fitting without %d: %w", year, err)
			}
			models[block] = m
		}
		f, err := newFold(series, water, opt, year, train).forecast(m)
		if err != nil {
			return nil, fmt.Errorf("forecasting %d: %w", year, err)
		}
		out = append(out, f...)
	}
	slices.SortStableFunc(out, func(a, b Forecast) int {
		if a.Taxon != b.Taxon {
			if a.Taxon < b.Taxon {
				return -1
			}
			return 1
		}
		return a.Year - b.Year
	})
	return out, nil
}

// fold is everything for one season to be forecast: what the other seasons say
// of each series, and the cases.
type fold struct {
	opt   Options
	year  int
	lines []line
	cases []phenology.YearCase // of the seasons learnt from
	of    []int                // which line each is of
	full  []float64            // their departures, not clipped
}

// line is one series within a fold.
type line struct {
	s          *Series
	mid        float64 // robust usual date
	scale      float64 // days to one standard deviation
	calendar   float64
	calendarSD float64
	end        float64 // usual 90 % day
	issue      int
	train      []int // indexes of the seasons learnt from
	x          func(*Season) []float64
	byWater    func(year int) float64 // nil: no thermal date for this line
}

func newFold(series []Series, water *Water, opt Options, year int, train func(int) bool) *fold {
	f := &fold{opt: opt, year: year}
	for i := range series {
		l := newLine(&series[i], water, opt, train)
		if l == nil {
			continue
		}
		f.lines = append(f.lines, *l)
		for _, k := range l.train {
			c := l.caseOf(&l.s.Seasons[k], len(f.lines)-1)
			f.full = append(f.full, c.Z)
			c.Z = max(-clip, min(clip, c.Z))
			f.cases = append(f.cases, c)
			f.of = append(f.of, len(f.lines)-1)
		}
	}
	return f
}

func newLine(s *Series, water *Water, opt Options, train func(int) bool) *line {
	l := &line{s: s}
	var dates, ends []float64
	for k, x := range s.Seasons {
		if train(x.Year) {
			l.train = append(l.train, k)
			dates = append(dates, float64(x.Median))
			ends = append(ends, float64(x.Q90))
		}
	}
	n := float64(len(dates))
	if len(dates) < leastOthers {
		return nil
	}
	l.mid = median(dates)
	var sum, sq float64
	dev := make([]float64, len(dates))
	for i, d := range dates {
		sum += d
		dev[i] = math.Abs(d - l.mid)
	}
	l.calendar = sum / n
	for _, d := range dates {
		sq += (d - l.calendar) * (d - l.calendar)
	}
	sd := math.Sqrt(sq / (n - 1))
	l.calendarSD = math.Max(sd, 0.5) * math.Sqrt(1+1/n)
	// The scale is robust, but a heavy tail may not be ignored altogether.
	robust := math.Max(1.4826*median(dev), sd/2)
	l.scale = math.Max(2, math.Sqrt((n*robust*robust+shrinkSeasons*shrinkDays*shrinkDays)/(n+shrinkSeasons)))
	l.end = median(ends)
	l.issue = int(math.Floor(l.calendar)) - opt.LeadDays
	l.x = l.knowledge(water, opt)
	return l
}

// caseOf is a season in standard deviations of its line.
func (l *line) caseOf(x *Season, taxon int) phenology.YearCase {
	// The median of n animals out of a season with standard deviation s is
	// uncertain by 1.25 s/sqrt(n).
	spread := float64(x.Q90-x.Q10) / 2.56
	noise := 1.25 * spread / math.Sqrt(math.Min(x.Count, 100)) / l.scale
	return phenology.YearCase{
		Taxon: taxon, Year: x.Year, Mid: l.mid, Z: (float64(x.Median) - l.mid) / l.scale,
		Noise: math.Min(noise*noise, 1), X: l.x(x),
	}
}

// knowledge is how a season's X are made: each is centred on the seasons learnt
// from, and 0 where nothing is known.
func (l *line) knowledge(water *Water, opt Options) func(*Season) []float64 {
	thermal := l.thermal(water)
	l.byWater = thermal
	raw := func(x *Season) [xs]float64 {
		out := [xs]float64{math.NaN(), math.NaN(), math.NaN(), math.NaN()}
		if thermal != nil {
			k := xThermal
			if isAutumn(l.mid) {
				k = xAutumn
			}
			out[k] = thermal(x.Year) / l.scale
		}
		if opt.Catches {
			c := catchOf(x.until(l.issue), x.Year, l.s.hours)
			out[xCaught] = math.Log1p(c.animals)
			if c.animals >= 5 {
				out[xCaughtOn] = c.meanDay() / l.scale
			}
		}
		return out
	}
	var centre, width [xs]float64
	for k := range centre {
		var v []float64
		for _, i := range l.train {
			if r := raw(&l.s.Seasons[i])[k]; !math.IsNaN(r) {
				v = append(v, r)
			}
		}
		width[k] = 1
		if len(v) < leastOthers {
			width[k] = math.Inf(1) // nothing to compare with
			continue
		}
		centre[k] = mean(v)
		if k == xCaught {
			width[k] = math.Max(sdOf(v), 0.5)
		}
	}
	return func(x *Season) []float64 {
		r := raw(x)
		out := make([]float64, xs)
		for k := range out {
			if !math.IsNaN(r[k]) {
				out[k] = max(-clip, min(clip, (r[k]-centre[k])/width[k]))
			}
		}
		return out
	}
}

// thermal is the date by degree-days as expected at the issue; nil where there
// is no water to count from.
func (l *line) thermal(water *Water) func(year int) float64 {
	if l.s.shift != 0 || l.issue < 1 {
		return nil
	}
	var years [][]float64
	for _, k := range l.train {
		if w := water.Of(l.s.Site, l.s.Seasons[k].Year); w != nil {
			years = append(years, w)
		}
	}
	if len(years) < leastOthers {
		return nil
	}
	normal := normalOf(years)
	if normal == nil {
		return nil
	}
	base := baseC
	if l.mid < earlyDay {
		base = baseEarlyC
	}
	var needs []float64
	for _, k := range l.train {
		x := &l.s.Seasons[k]
		if w := water.Of(l.s.Site, x.Year); known(w, x.Median) {
			needs = append(needs, degreeDays(expected(w, normal, 366), base)[min(x.Median, 366)-1])
		}
	}
	if len(needs) < leastOthers {
		return nil
	}
	need := mean(needs)
	return func(year int) float64 {
		w := water.Of(l.s.Site, year)
		if !known(w, l.issue) {
			return math.NaN()
		}
		return reach(degreeDays(expected(w, normal, l.issue), base), need)
	}
}

func (f *fold) fit() (phenology.YearModel, error) {
	return phenology.StructureYears(slopes).Fit(f.cases)
}

func mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func sdOf(x []float64) float64 {
	m := mean(x)
	var s float64
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s / float64(len(x)-1))
}
