package forecast

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
)

// prior is what is believed of a group at a river before anything was seen
// there: the catalogue's prior of the region, moved to the river's latitude and
// height and to its normal water.
func (w *water) prior(g *insects.Group, region insects.Region, s site) (phenology.Params, bool) {
	p, ok := paramsAt(g, region, s)
	if !ok {
		return p, false
	}
	return w.atRiver(p), true
}

// site is what a prior takes from a river.
type site struct {
	insects.Place
	warmth bool // the river's own water is known: a group ruled by it needs no move by latitude and height
}

func (w *water) place(rec Record, r River) site {
	s := site{Place: insects.Place{LatDeg: r.Lat, ElevationM: math.NaN()}, warmth: !math.IsNaN(w.climatology[0])}
	if e := rec.ElevationM; e != nil {
		s.ElevationM = *e
	}
	if e := r.ElevationM; e != nil {
		s.ElevationM = *e
	}
	return s
}

// paramsAt is the catalogue's prior of a region, moved to a river.
func paramsAt(g *insects.Group, region insects.Region, s site) (phenology.Params, bool) {
	p, ok := phenology.FromGroup(g, region)
	if !ok {
		return p, false
	}
	p = p.AtLatitude(s.LatDeg, g.Photoperiod, region)
	if s.warmth && p.DD50 > 0 && p.Weight > 0 {
		return p, true
	}
	if x, ok := g.Window(region, insects.Emergence); ok {
		m := g.MoveTo(x, s.Place)
		p.MedianDOY, p.MedianSD = p.MedianDOY+m.Days, math.Hypot(p.MedianSD, m.SDDays)
	}
	return p, true
}

// atRiver moves a belief to the river's normal water.
func (w *water) atRiver(p phenology.Params) phenology.Params {
	if math.IsNaN(w.climatology[0]) {
		return p
	}
	return p.AtRiver(w.climatology[:])
}

// Calibration is what sightings taught of one group at one river: the figures that
// replace those of the catalogue, each with its uncertainty as in
// phenology.Params, and how far the windows moved.
type Calibration struct {
	DD50       float64       `json:"dd50_c_days"`
	DD50CV     float64       `json:"dd50_cv"`
	MedianDOY  float64       `json:"median_doy"`
	MedianSD   float64       `json:"median_sd_days"`
	Weight     float64       `json:"thermal_weight"`
	WeightSD   float64       `json:"thermal_weight_sd"`
	SpreadDays float64       `json:"spread_days"`
	SpreadCV   float64       `json:"spread_cv"`
	PeakChance float64       `json:"peak_chance"`
	PeakCV     float64       `json:"peak_cv"`
	Corr       [5][5]float64 `json:"correlations"`
	Seasons    int           `json:"seasons"`

	MovedDays float64 `json:"moved_days"` // the middle of both stages, later is positive
	Shifts    []Shift `json:"stages"`
}

// Shift is the window of a stage that was watched for, the mean over the seasons
// in which it was, before and after: days from 1 January by which 10, 50 and
// 90 % of the season's activity has passed.
type Shift struct {
	Stage     Stage      `json:"stage"`
	Sightings int        `json:"sightings"`
	Before    [3]float64 `json:"before"`
	After     [3]float64 `json:"after"`
}

// Calibrations are what the diary of one river taught, by group.
type Calibrations map[string]Calibration

// Sightings is how many sightings stand behind them.
func (l Calibrations) Sightings() int {
	n := 0
	for _, x := range l {
		for _, s := range x.Shifts {
			n += s.Sightings
		}
	}
	return n
}

// Unused is a group of the diary of which nothing can be learnt, and why.
type Unused struct {
	Group     string
	Sightings int
	Why       string
}

// Apply puts a lesson in the place of the prior; without one the prior stays.
// It is made for Options.Posterior.
func (l Calibrations) Apply(group string, prior phenology.Params) phenology.Params {
	x, ok := l[group]
	if !ok {
		return prior
	}
	p := prior
	p.DD50, p.DD50CV, p.MedianDOY, p.MedianSD = x.DD50, x.DD50CV, x.MedianDOY, x.MedianSD
	p.Weight, p.WeightSD, p.SpreadDays, p.SpreadCV = x.Weight, x.WeightSD, x.SpreadDays, x.SpreadCV
	p.PeakChance, p.PeakCV, p.Corr = x.PeakChance, x.PeakCV, x.Corr
	p.Measured, p.Seasons = true, x.Seasons
	return p
}

// Calibrate works out what sightings teach of the groups they name. Sightings of
// other rivers, withdrawn ones and those after the record's issue are left out;
// groups that cannot be learnt of are named, lest they be forgotten in silence.
// A sighting of a group with several broods goes to the brood it is nearest to.
func (rec Record) Calibrate(r River, c *insects.Catalogue, sightings []diary.Sighting) (Calibrations, []Unused, error) {
	region, err := r.region()
	if err != nil {
		return nil, nil, err
	}
	w := &water{climatology: climatology(rec.Day0, rec.Water)}
	byName := map[string][]diary.Sighting{}
	for _, s := range sightings {
		if s.River == r.Slug && !s.Withdrawn && DateOf(s.Day) <= rec.Issue {
			byName[s.Group] = append(byName[s.Group], s)
		}
	}
	y := &years{water: func(year int) []float64 { return rec.wholeYear(year, w.climatology) }, index: map[int]int{}}
	var not []Unused
	groupFits := map[string]*groupFit{}
	for _, name := range slices.Sorted(maps.Keys(byName)) {
		found, why := w.groupFits(c, name, region, w.place(rec, r))
		if why != "" {
			not = append(not, Unused{name, len(byName[name]), why})
			continue
		}
		var broods phenology.Broods
		for i, p := range found {
			broods = append(broods, p.prior)
			if groupFits[p.group] == nil {
				groupFits[p.group] = p
			}
			found[i] = groupFits[p.group]
		}
		for _, s := range byName[name] {
			st := stageNumber[Stage(s.Stage)]
			brood := broods.Nearest(st, s.Day.YearDay()-1, y.of(s.Day.Year()).WaterC)
			found[brood].add(s, y)
		}
	}
	out := Calibrations{}
	for key, p := range groupFits {
		if len(p.seen) == 0 {
			continue
		}
		post, err := phenology.Calibrate(p.prior, p.seen, y.seasons, phenology.Options{Seed: seedOf(r.Slug+" "+key, 0)})
		if err != nil {
			return nil, nil, fmt.Errorf("calibrating from %d sightings of %s: %w", len(p.seen), key, err)
		}
		out[key] = calibrationOf(&post, p.seen)
	}
	return out, not, nil
}

// years are the seasons of a diary, in the order in which they are asked for.
type years struct {
	water   func(year int) []float64
	seasons []phenology.Season
	index   map[int]int
}

func (y *years) of(year int) phenology.Season { return y.seasons[y.at(year)] }

func (y *years) at(year int) int {
	i, ok := y.index[year]
	if !ok {
		i = len(y.seasons)
		y.index[year] = i
		y.seasons = append(y.seasons, phenology.Season{WaterC: y.water(year)})
	}
	return i
}

// groupFit is a group about to be learnt of.
type groupFit struct {
	group string
	prior phenology.Params
	seen  []phenology.Observation
}

// add puts a sighting into the season whose middle it is nearest to: December's
// winter midges belong to the coming year.
func (p *groupFit) add(s diary.Sighting, y *years) {
	year, day := s.Day.Year(), s.Day.YearDay()-1
	length := func(year int) int { return time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay() }
	switch off := float64(day) - (p.prior.MedianDOY - 1); {
	case off > 183:
		day -= length(year)
		year++
	case off < -183:
		year--
		day += length(year)
	}
	p.seen = append(p.seen, phenology.Observation{
		Season: y.at(year), Day: day, Stage: stageNumber[Stage(s.Stage)], Amount: amounts[s.Amount], Hours: s.Hours,
	})
}

// groupFits are the groups that a name of the diary stands for: itself, or its
// broods. If there are none it says why.
func (w *water) groupFits(c *insects.Catalogue, name string, region insects.Region, s site) (out []*groupFit, why string) {
	g, ok := c.Group(name)
	if !ok {
		return nil, "unknown group"
	}
	groups := []*insects.Group{g}
	if broods := c.Broods(name); g.Kind == insects.Parent && len(broods) > 0 {
		groups = broods
	}
	for _, g := range groups {
		if prior, ok := w.prior(g, region, s); ok {
			out = append(out, &groupFit{group: g.Key, prior: prior})
		}
	}
	if len(out) == 0 {
		return nil, "no season listed for " + region.Words()
	}
	return out, ""
}

// The diary's words in the words of the model.
var (
	amounts     = map[diary.Amount]phenology.Amount{diary.None: phenology.None, diary.Few: phenology.Few, diary.Many: phenology.Many}
	stageNumber = map[Stage]phenology.Stage{Emergence: phenology.Emergence, EggLaying: phenology.EggLaying}
)

func calibrationOf(post *phenology.Posterior, seen []phenology.Observation) Calibration {
	a := post.After
	l := Calibration{
		DD50: a.DD50, DD50CV: a.DD50CV, MedianDOY: a.MedianDOY, MedianSD: a.MedianSD, Weight: a.Weight, WeightSD: a.WeightSD,
		SpreadDays: a.SpreadDays, SpreadCV: a.SpreadCV, PeakChance: a.PeakChance, PeakCV: a.PeakCV, Corr: finite(a.Corr),
		Seasons: post.Seasons, MovedDays: post.MovedDays,
	}
	days := func(w phenology.Window) [3]float64 { return [3]float64{w.Start, w.Peak, w.End} }
	for _, st := range Stages {
		n := 0
		for _, o := range seen {
			if o.Stage == stageNumber[st] {
				n++
			}
		}
		s := Shift{Stage: st, Sightings: n, Before: days(post.WindowBefore), After: days(post.WindowAfter)}
		if st == EggLaying {
			s.Before, s.After = days(post.EggsBefore), days(post.EggsAfter)
		}
		if n > 0 {
			l.Shifts = append(l.Shifts, s)
		}
	}
	return l
}

// finite replaces correlations that cannot be told, of figures that do not
// vary, by none.
func finite(c [5][5]float64) [5][5]float64 {
	for i := range c {
		for j := range c[i] {
			if math.IsNaN(c[i][j]) {
				c[i][j] = 0
				if i == j {
					c[i][j] = 1
				}
			}
		}
	}
	return c
}

// wholeYear is the water of a year day by day: as measured, gaps and what is
// still to come from the normal and the departures at their edges. Nil if no
// normal is known.
func (rec Record) wholeYear(year int, clim [365]float64) []float64 {
	if math.IsNaN(clim[0]) {
		return nil
	}
	first := DateOf(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC))
	out := make([]float64, int(DateOf(time.Date(year+1, 1, 1, 0, 0, 0, 0, time.UTC))-first))
	for d := range out {
		out[d] = math.NaN()
		if k := int(first-rec.Day0) + d; k >= 0 && k < len(rec.Water) {
			out[d] = rec.Water[k]
		}
	}
	fill(out, first, clim)
	return out
}
