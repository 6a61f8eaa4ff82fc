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

// belief is what is believed of a group at a river before anything was seen
// there: the catalogue's prior of the region, moved to the river's latitude and
// to its normal water.
func (w *water) belief(g *insects.Group, region insects.Region, latDeg float64) (phenology.Params, bool) {
	p, ok := phenology.FromGroup(g, region)
	if !ok {
		return p, false
	}
	p = p.AtLatitude(latDeg, g.Photoperiod, region)
	if !math.IsNaN(w.normal[0]) {
		p = p.AtRiver(w.normal[:])
	}
	return p, true
}

// Lesson is what sightings taught of one group at one river: the figures that
// replace those of the catalogue, each with its uncertainty as in
// phenology.Params, and how far the window moved.
type Lesson struct {
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
	Sightings  int           `json:"sightings"`

	MovedDays float64    `json:"moved_days"` // the median date, later is positive
	Before    [3]float64 `json:"before_doy"` // emergence window in the seasons seen: 10, 50, 90 %
	After     [3]float64 `json:"after_doy"`
}

// Lessons are what the diary of one river taught, by group.
type Lessons map[string]Lesson

// Apply puts a lesson in the place of the prior; without one the prior stays.
// It is made for Options.Posterior.
func (l Lessons) Apply(group string, prior phenology.Params) phenology.Params {
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

// Learn works out what sightings teach of the groups they name. Sightings of
// other rivers, withdrawn ones and those after the record's issue are left out.
// A group that the catalogue does not know is an error: it would be forgotten
// in silence.
func (rec Record) Learn(r River, c *insects.Catalogue, sightings []diary.Sighting) (Lessons, error) {
	region := insects.Region(r.Region)
	if r.Region == "" {
		var ok bool
		if region, ok = insects.RegionOf(r.Lat, r.Lon); !ok {
			return nil, fmt.Errorf("river %s: the catalogue has no region for %g, %g; name one in the config", r.Slug, r.Lat, r.Lon)
		}
	}
	w := &water{normal: normal(rec.Day0, rec.Water)}
	years := map[int]int{} // year -> index of its season
	byGroup := map[string][]phenology.Observation{}
	for _, s := range sightings {
		day := DateOf(s.Day)
		if s.River != r.Slug || s.Withdrawn || day >= rec.Issue+1 {
			continue
		}
		y := s.Day.Year()
		if _, ok := years[y]; !ok {
			years[y] = len(years)
		}
		o := phenology.Observation{Season: years[y], Day: s.Day.YearDay() - 1, Hours: s.Hours,
			Amount: map[diary.Amount]phenology.Amount{diary.None: phenology.None, diary.Few: phenology.Few, diary.Many: phenology.Many}[s.Amount]}
		if s.Stage == diary.EggLaying {
			o.Stage = phenology.EggLaying
		}
		byGroup[s.Group] = append(byGroup[s.Group], o)
	}
	seasons := make([]phenology.Season, len(years))
	for y, i := range years {
		seasons[i] = phenology.Season{WaterC: rec.wholeYear(y, w.normal)}
	}
	out := Lessons{}
	for _, key := range slices.Sorted(maps.Keys(byGroup)) {
		g, ok := c.Group(key)
		if !ok {
			return nil, fmt.Errorf("river %s: the diary names a group %q that the catalogue does not know; eclose group find lists them", r.Slug, key)
		}
		prior, ok := w.belief(g, region, r.Lat)
		if !ok {
			return nil, fmt.Errorf("river %s: group %q has no window in %s, so nothing can be learnt of it", r.Slug, key, region.Words())
		}
		post, err := phenology.Calibrate(prior, byGroup[key], seasons, phenology.Options{Seed: seedOf(r.Slug+" "+key, 0)})
		if err != nil {
			return nil, fmt.Errorf("what %d sightings of %s teach: %w", len(byGroup[key]), key, err)
		}
		a := post.After
		out[key] = Lesson{
			DD50: a.DD50, DD50CV: a.DD50CV, MedianDOY: a.MedianDOY, MedianSD: a.MedianSD, Weight: a.Weight, WeightSD: a.WeightSD,
			SpreadDays: a.SpreadDays, SpreadCV: a.SpreadCV, PeakChance: a.PeakChance, PeakCV: a.PeakCV, Corr: finite(a.Corr),
			Seasons: post.Seasons, Sightings: post.Sightings, MovedDays: post.MovedDays,
			Before: [3]float64{post.WindowBefore.Start, post.WindowBefore.Peak, post.WindowBefore.End},
			After:  [3]float64{post.WindowAfter.Start, post.WindowAfter.Peak, post.WindowAfter.End},
		}
	}
	return out, nil
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
