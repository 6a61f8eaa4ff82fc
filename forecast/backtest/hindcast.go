package backtest

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"example.org/eclose/model/phenology"
)

// Knowledge says what a forecast knew of the season beside temperature and
// earlier seasons.
type Knowledge struct {
	Others  bool // catches or sightings of all other taxa so far
	Catches bool // and those of the taxon itself
}

// Rungs are the rungs of knowledge, in the order in which they are reported: what a
// traveller has without any sighting, with sightings of other insects, and with
// sightings of this one too.
var Rungs = []Knowledge{{}, {Others: true}, {Others: true, Catches: true}}

// Options say what is forecast from what.
type Options struct {
	// LeadDays is how long before the taxon's calendar date a forecast is
	// issued. It knows what happened before that day.
	LeadDays int
	// PastOnly fits on earlier seasons only, as a forecast in its own time
	// would have had to; otherwise on all other seasons.
	PastOnly bool
	// First and Last bound the seasons that are forecast; 0 for no bound.
	First, Last int
}

// Normal is a normal distribution of a date, day of the year.
type Normal struct{ Mean, SD float64 }

// Forecast is one hindcast of one season's median date.
type Forecast struct {
	Taxon, Site string
	Year        int
	Issue       int // day of the year; what happened on it or later was not known
	Observed    float64
	By          map[Knowledge]Normal
	Thermal     bool   // the season's temperature was known and used
	Calendar    Normal // mean of the seasons of the fit
	Recent      Normal // the same, recent years weighing more
	Own         Normal // of a first visit, the river's own calendar; SD 0: it has none

	line   *line
	season *Season
}

const (
	// leastOthers is how many seasons of the fit let a taxon enter at all.
	leastOthers = 4
	// leastFit is how many let it be forecast, and let its catches tell of other
	// taxa: the scatter of a taxon of fewer seasons is hardly known. In a record
	// of which no taxon has as many, leastOthers do.
	leastFit = 7
)

// leastOf is how many seasons of the fit let a taxon of a record be forecast and
// tell of others.
func leastOf(series []Series) int {
	if slices.ContainsFunc(series, func(s Series) bool { return len(s.Seasons) > leastFit }) {
		return leastFit
	}
	return leastOthers
}

// Run forecasts every season that has enough others, on all rungs.
func Run(series []Series, temp *Temperatures, opt Options) ([]Forecast, error) {
	least := leastOf(series)
	var out []Forecast
	for _, year := range yearsOf(series, opt) {
		f := newFold(series, temp, opt, year)
		f.least = least
		for i := range f.lines {
			x, ok := f.lines[i].s.season(year)
			if !ok || len(f.lines[i].fit) < f.least {
				continue
			}
			fc, err := f.forecast(i, x)
			if err != nil {
				return nil, fmt.Errorf("forecasting %s of %d: %w", f.lines[i].s.Taxon, year, err)
			}
			out = append(out, fc)
		}
	}
	slices.SortStableFunc(out, func(a, b Forecast) int {
		return cmp.Or(cmp.Compare(a.Taxon, b.Taxon), cmp.Compare(a.Year, b.Year))
	})
	return out, nil
}

// fold is everything for one season to be forecast: what the seasons of the fit
// say of each taxon.
type fold struct {
	year  int
	lead  int
	least int // seasons of the fit that let a taxon be forecast and tell of others
	lines []line
	taxa  []phenology.Taxon // beside lines
	years map[string]*phenology.DegreeDayYear
	temp  *Temperatures
}

func newFold(series []Series, temp *Temperatures, opt Options, year int) *fold {
	train := func(y int) bool { return y != year && (!opt.PastOnly || y < year) }
	f := &fold{year: year, lead: opt.LeadDays, temp: temp, years: map[string]*phenology.DegreeDayYear{}}
	insects := map[string]int{}
	var dates [][]float64
	for i := range series {
		s := &series[i]
		l, t, ok := newLine(s, year, train)
		if !ok {
			continue
		}
		if _, ok := insects[s.Taxon]; !ok {
			insects[s.Taxon] = len(insects)
		}
		t.Insect = insects[s.Taxon]
		if _, ok := f.years[s.Site]; !ok {
			f.years[s.Site] = phenology.NewDegreeDayYear(temp.fit(s.Site, train))
		}
		f.lines, f.taxa = append(f.lines, l), append(f.taxa, t)
		dates = append(dates, l.dates)
	}
	phenology.SetScales(f.taxa, dates)
	return f
}

// forecast is the hindcast of a season of one taxon, on all rungs. Every taxon is
// taken as known on the day on which the target's forecast is issued.
func (f *fold) forecast(target int, x *Season) (Forecast, error) {
	l := &f.lines[target]
	issue := int(math.RoundToEven(l.calendar.Mean)) - f.lead
	out := Forecast{Taxon: l.s.Taxon, Site: l.s.Site, Year: f.year, Issue: issue, Observed: float64(x.Median),
		Calendar: l.calendar, Recent: l.recent, By: map[Knowledge]Normal{}, line: l, season: x}
	cases, thermal, known := f.cases(issue)
	out.Thermal = known[target]
	joint, err := phenology.NewJoint(f.taxa, cases, nil)
	if err != nil {
		return out, err
	}
	season, err := joint.Season(f.year)
	if err != nil {
		return out, err
	}
	evidence := f.evidence(season, target, issue, thermal)
	for _, k := range []Knowledge{{}, {Others: true}, {Catches: true}, {Others: true, Catches: true}} {
		d := season.Taxon(target)
		if k.Others {
			if d, err = season.Given(target, evidence); err != nil {
				return out, err
			}
		}
		if k.Catches {
			if w, ok := l.watched(target, f.year, issue, thermal[target], d); ok {
				d = season.Own(d, w)
			}
		}
		mean, variance := d.At(thermal[target])
		out.By[k] = Normal{mean, math.Sqrt(variance)}
	}
	return out, nil
}

// evidence is what was caught of taxa before a day, but for one.
func (f *fold) evidence(season *phenology.SeasonForecast, but, issue int, thermal []float64) []phenology.Evidence {
	var out []phenology.Evidence
	for j := range f.lines {
		if j == but || len(f.lines[j].fit) < f.least || !f.begun(j, issue) {
			continue
		}
		w, ok := f.lines[j].watched(j, f.year, issue, thermal[j], season.Taxon(j))
		if !ok {
			continue
		}
		if _, e, ok := season.Read(w); ok {
			out = append(out, e)
		}
	}
	return out
}

// begun reports whether a taxon's season has usually begun on a day.
func (f *fold) begun(i, issue int) bool {
	return f.taxa[i].MedianDOY-2*f.taxa[i].SpreadDays <= float64(issue)
}

// cases are the seasons of the fit with their thermal departures as they were
// expected on the same day of the year, and the departures of the season to be
// forecast.
func (f *fold) cases(issue int) (cases []phenology.SeasonDate, thermal []float64, known []bool) {
	thermal, known = make([]float64, len(f.lines)), make([]bool, len(f.lines))
	for i := range f.lines {
		l := &f.lines[i]
		first := len(cases)
		var sum, n float64
		for _, k := range l.fit {
			x := &l.s.Seasons[k]
			c := phenology.SeasonDate{Taxon: i, Year: x.Year, DOY: float64(x.Median), Variance: phenology.CountVariance(f.taxa[i].SpreadDays, x.Count)}
			if v, ok := f.thermal(i, x.Year, issue); ok {
				c.Thermal = v
				sum, n = sum+v, n+1
			} else {
				c.Thermal = math.NaN()
			}
			cases = append(cases, c)
		}
		for k := first; k < len(cases); k++ {
			if math.IsNaN(cases[k].Thermal) {
				cases[k].Thermal = 0
			} else {
				cases[k].Thermal -= sum / n
			}
		}
		if v, ok := f.thermal(i, f.year, issue); ok && n > 0 {
			thermal[i], known[i] = v-sum/n, true
		}
	}
	return cases, thermal, known
}

// thermal is the departure of a taxon's thermal date in a year, as expected on a
// day of the year.
func (f *fold) thermal(i, year, issue int) (float64, bool) {
	l := &f.lines[i]
	w := f.temp.Of(l.s.Site, year)
	mean := f.years[l.s.Site]
	if mean == nil || l.s.shift != 0 || !known(w, issue-1) {
		return 0, false
	}
	return mean.Departure(w, f.taxa[i].MedianDOY, issue), true
}
