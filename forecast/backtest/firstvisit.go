package backtest

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"example.org/eclose/model/phenology"
)

// Sites are the rivers of a record, sorted.
func Sites(series []Series) []string {
	var out []string
	for _, s := range series {
		if !slices.Contains(out, s.Site) {
			out = append(out, s.Site)
		}
	}
	slices.Sort(out)
	return out
}

// FirstVisits forecasts each season of each river as for somebody who was never
// there: no record of that river enters, of any season, but those of the other
// rivers do. The calendar is the region's book, a date for each taxon from the mean
// seasons of the others; with Knowledge.Others a forecast also knows what the other
// rivers caught of any taxon before the day of issue. Water that was measured there
// may enter: a river without a record of insects can have a gauge.
func FirstVisits(series []Series, temp *Temperatures, opt Options) ([]Forecast, error) {
	var out []Forecast
	for _, site := range Sites(series) {
		var there, others []Series
		for _, s := range series {
			if s.Site == site {
				there = append(there, s)
			} else {
				others = append(others, s)
			}
		}
		for _, year := range yearsOf(there, opt) {
			f := newFold(others, temp, opt, year)
			f.least = leastOf(others)
			all, err := f.firstVisits(site, there, opt)
			if err != nil {
				return nil, fmt.Errorf("first visit to %s in %d: %w", site, year, err)
			}
			out = append(out, all...)
		}
	}
	slices.SortStableFunc(out, func(a, b Forecast) int {
		return cmp.Or(cmp.Compare(a.Taxon, b.Taxon), cmp.Compare(a.Year, b.Year), cmp.Compare(a.Site, b.Site))
	})
	return out, nil
}

// yearsOf are the seasons that are to be forecast.
func yearsOf(series []Series, opt Options) []int {
	var years []int
	for _, s := range series {
		for _, x := range s.Seasons {
			if !slices.Contains(years, x.Year) && x.Year >= opt.First && (opt.Last == 0 || x.Year <= opt.Last) {
				years = append(years, x.Year)
			}
		}
	}
	slices.Sort(years)
	return years
}

// betweenSD is how far the mean dates of two rivers of a region lie apart where too
// few rivers tell, as a standard deviation in days: our own default. Rivers of
// betweenRivers and more tell it themselves, if never below leastBetween.
const (
	betweenSD     = 10.0
	betweenRivers = 3
	leastBetween  = 2.0
)

// book is what other rivers say of a taxon.
type book struct {
	date, between float64 // mean of their calendars' dates, and how far these lie apart
	within        float64 // how far a season strays at one river
	taxon         phenology.Taxon
}

func (f *fold) book(taxon string) (book, bool) {
	var dates, within, scales, spreads []float64
	var b book
	for i := range f.lines {
		if f.lines[i].s.Taxon != taxon || f.lines[i].s.shift != 0 {
			continue
		}
		dates, within = append(dates, f.lines[i].calendar.Mean), append(within, f.lines[i].calendar.SD)
		scales, spreads = append(scales, f.taxa[i].ScaleDays), append(spreads, f.taxa[i].SpreadDays)
		b.taxon.Insect = f.taxa[i].Insect
	}
	if len(dates) == 0 {
		return b, false
	}
	b.date, b.between, b.within = stat.Mean(dates, nil), betweenSD, stat.Mean(within, nil)
	if len(dates) >= betweenRivers {
		b.between = math.Max(leastBetween, stat.StdDev(dates, nil))
	}
	n := float64(len(dates))
	b.between *= math.Sqrt(1 + 1/n)
	b.taxon.MedianDOY, b.taxon.MedianSD = b.date, b.between
	b.taxon.ScaleDays, b.taxon.SpreadDays = stat.Mean(scales, nil), median(spreads)
	return b, true
}

// firstVisits forecasts the taxa of a river that is not in the fold.
func (f *fold) firstVisits(site string, there []Series, opt Options) ([]Forecast, error) {
	if len(f.lines) == 0 {
		return nil, nil
	}
	taxa := slices.Clone(f.taxa)
	sites := []string{}
	for i := range taxa {
		at := slices.Index(sites, f.lines[i].s.Site)
		if at < 0 {
			at = len(sites)
			sites = append(sites, f.lines[i].s.Site)
		}
		taxa[i].Site = at
	}
	var out []Forecast
	for i := range there {
		s := &there[i]
		x, ok := s.season(f.year)
		b, known := f.book(s.Taxon)
		if !ok || !known || s.shift != 0 {
			continue
		}
		b.taxon.Site = len(sites)
		fc, err := f.firstVisit(site, s, x, b, append(slices.Clone(taxa), b.taxon), alike(len(sites)+1), opt)
		if err != nil {
			return nil, err
		}
		out = append(out, fc)
	}
	return out, nil
}

// alike correlates rivers of one region whose distances a table does not tell.
func alike(n int) *mat.SymDense {
	out := mat.NewSymDense(n, nil)
	for a := range n {
		out.SetSym(a, a, 1)
		for b := range a {
			out.SetSym(a, b, phenology.SiteCorrelation(0, 0, true))
		}
	}
	return out
}

func (f *fold) firstVisit(site string, s *Series, x *Season, b book, taxa []phenology.Taxon, sites *mat.SymDense, opt Options) (Forecast, error) {
	target := len(taxa) - 1
	issue := int(math.RoundToEven(b.date)) - f.lead
	out := Forecast{Taxon: s.Taxon, Site: site, Year: f.year, Issue: issue, Observed: float64(x.Median),
		Calendar: Normal{b.date, math.Hypot(b.between, b.within)}, By: map[Knowledge]Normal{}, season: x}
	out.Recent = out.Calendar
	train := func(y int) bool { return y != f.year && (!opt.PastOnly || y < f.year) }
	if l, _, ok := newLine(s, f.year, train); ok {
		out.Own = l.calendar
	}
	cases, thermal, _ := f.cases(issue)
	own, warmth := f.warmth(site, b.date, issue, train)
	out.Thermal = warmth
	joint, err := phenology.NewJoint(taxa, cases, sites)
	if err != nil {
		return out, err
	}
	season, err := joint.Season(f.year)
	if err != nil {
		return out, err
	}
	evidence := f.evidence(season, -1, issue, thermal)
	for _, k := range []Knowledge{{}, {Others: true}} {
		d := season.Taxon(target)
		if k.Others {
			if d, err = season.Given(target, evidence); err != nil {
				return out, err
			}
		}
		mean, variance := d.At(own)
		out.By[k] = Normal{mean, math.Sqrt(variance)}
	}
	return out, nil
}

// warmth is the departure of the thermal date at a river in the fold's season, as
// expected on a day, from its own mean of other seasons.
func (f *fold) warmth(site string, usual float64, issue int, train func(int) bool) (float64, bool) {
	mean := phenology.NewDegreeDayYear(f.temp.fit(site, train))
	if mean == nil {
		return 0, false
	}
	var sum, n float64
	for _, y := range f.temp.years(site) {
		if w := f.temp.Of(site, y); train(y) && known(w, issue-1) {
			sum, n = sum+mean.Departure(w, usual, issue), n+1
		}
	}
	w := f.temp.Of(site, f.year)
	if n == 0 || !known(w, issue-1) {
		return 0, false
	}
	return mean.Departure(w, usual, issue) - sum/n, true
}
