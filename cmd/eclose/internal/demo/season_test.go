package demo

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// season is one invented season of the country in which the truth is known: weather,
// water and flow hour by hour, and each insect's true dates at each river.
type season struct {
	records map[string]record
	median  map[string]map[string]float64 // by river and group: day of emergence, days from 1 January 2026
	heat    map[string]map[string]float64 // the same date as heat and river alone make it: what nobody can foresee is left out
	spread  map[string]float64            // by group, days
	laws    map[string]law                // by group
	warmth  map[int]float64               // of springs, beside the usual, °C by year
	seen    []forecast.Sighting           // a diary of the past seasons
}

// The truth about the insects. It is drawn from the catalogue's own uncertainty and built
// apart from the forecast: a degree-day sum that is the same at all rivers, blended with
// the calendar, with errors that nobody can foresee. None of these numbers was tuned.
const (
	riverSD  = 4.0 // days by which a river's insects keep apart from the region's
	yearSD   = 3.0 // days by which a season strays from its heat
	sureness = 1.5 // a peak day shows with 1 - exp(-sureness), 78 %
)

// law is what an insect follows.
type law struct {
	regional, need float64            // days from 1 January; °C·d to the middle of its season
	own            map[string]float64 // by river, days
}

// date is the date that heat and the calendar make of a year at a river, in days from 1
// January, without the river's own habit.
func (l law) date(rec record, year int, g *insects.Group) float64 {
	if g.DDWeight == 0 || l.need == 0 {
		return l.regional
	}
	return g.DDWeight*reached(rec, year, l.need, g.BaseTempC) + (1-g.DDWeight)*l.regional
}

// betterNot are the flows of the demo's gauges from which it is better not to wade, m3/s.
var betterNot = map[string]float64{"wend": 20.2, "garrow": 26.5, "little-ash": 10.6}

// warmC is the warmest hour from which trout are left alone.
const warmC = 20

// nearlyBest is the share of the best week's worth that a week may lack and still count as
// the best: nobody on the water could tell them apart.
const nearlyBest = 0.1

// wished are the insects that the traveller comes for.
var wished = []string{"salmonfly", "golden-stone", "western-green-drake"}

func inventSeason(seed uint64, groups []*insects.Group) season {
	rng := rand.New(rand.NewPCG(seed, 77))
	shift := map[int]float64{}
	for y := 2018; y <= 2026; y++ {
		shift[y] = rng.NormFloat64()
	}
	s := season{records: map[string]record{}, median: map[string]map[string]float64{}, heat: map[string]map[string]float64{}, spread: map[string]float64{}, laws: map[string]law{}, warmth: shift}
	for _, r := range Rivers {
		s.records[r.Slug] = invent(r, seed, shift)
		s.median[r.Slug], s.heat[r.Slug] = map[string]float64{}, map[string]float64{}
	}
	for _, g := range groups {
		w, ok := g.Window(insects.Rockies, insects.Emergence)
		if !ok {
			continue
		}
		s.spread[g.Key] = w.ReachSpreadSDDays() * math.Exp(0.2*rng.NormFloat64())
		regional := float64(w.Median-1) + w.MedianSDDays*rng.NormFloat64()
		l := law{regional: regional, own: map[string]float64{}}
		n := 0.0
		for _, r := range Rivers {
			for y := 2018; y < 2026; y++ {
				l.need += heat(s.records[r.Slug], y, regional, g.BaseTempC)
				n++
			}
		}
		l.need /= n
		for _, r := range Rivers {
			own := riverSD * rng.NormFloat64()
			l.own[r.Slug] = own
			for y := 2018; y <= 2026; y++ {
				at := l.date(s.records[r.Slug], y, g)
				foreseen := at + own
				at += own + yearSD*rng.NormFloat64()
				if y == 2026 {
					s.median[r.Slug][g.Key], s.heat[r.Slug][g.Key] = at, foreseen
				} else {
					s.watch(rng, r, g, y, at)
				}
			}
		}
		s.laws[g.Key] = l
	}
	return s
}

// watch writes down what somebody saw who came every fifth day from May to July.
func (s *season) watch(rng *rand.Rand, r River, g *insects.Group, year int, median float64) {
	for day := 120.0 + float64(rng.IntN(5)); day < 212; day += 5 {
		for _, st := range insects.Stages {
			if g.Fishable(st) == insects.FishableNo || g.Kind == insects.Continuous {
				continue
			}
			at := median
			if st == insects.EggLaying {
				at += g.MaturationDays
			}
			z := (day - at) / s.spread[g.Key]
			x := forecast.Sighting{River: r.Slug, Group: g.Key, Stage: forecast.Stage(st), Day: forecast.DateOf(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)) + forecast.Date(day), Amount: diary.None, Hours: 2}
			if rng.Float64() < 1-math.Exp(-sureness*math.Exp(-z*z/2)) {
				x.Amount = diary.Few
				if rng.Float64() < 0.4 {
					x.Amount = diary.Many
				}
			}
			s.seen = append(s.seen, x)
		}
	}
}

// hourOf is the hour of the record at which a day of a year begins at the rivers.
func hourOf(year int, day float64) int {
	return int(time.Date(year, 1, 1, 8, 0, 0, 0, time.UTC).Sub(start).Hours()) + int(math.Round(day*24))
}

// heat is the degree-days from 1 January to a day.
func heat(rec record, year int, day, base float64) float64 {
	sum := 0.0
	for h := hourOf(year, 0); h < hourOf(year, day) && h < len(rec.water); h++ {
		sum += max(0, rec.water[h]-base) / 24
	}
	return sum
}

// reached is the day of a year on which the degree-days come to a sum.
func reached(rec record, year int, need, base float64) float64 {
	sum := 0.0
	for h := hourOf(year, 0); h < min(len(rec.water), hourOf(year, 365)); h++ {
		if sum += max(0, rec.water[h]-base) / 24; sum >= need {
			return float64(h-hourOf(year, 0)) / 24
		}
	}
	return 365
}

// spoiled reports whether flow or warmth spoils a day at a river.
func (s season) spoiled(river string, d forecast.Date) bool {
	flow, warmest := s.day(river, d)
	return flow >= betterNot[river] || warmest >= warmC
}

// day is the mean flow of a day, m3/s, and its warmest hour, °C.
func (s season) day(river string, d forecast.Date) (flow, warmest float64) {
	rec := s.records[river]
	h := hourOf(d.Time().Year(), float64(d.Time().YearDay()-1))
	for k := h; k < h+24; k++ {
		flow += rec.flow[k] / 24
		warmest = max(warmest, rec.water[k])
	}
	return flow, warmest
}

// shows is the chance that a stage of a group shows on a day, if the median date of its
// emergence is as given.
func (s season) shows(g *insects.Group, st insects.Stage, d forecast.Date, median float64) float64 {
	if st == insects.EggLaying {
		median += g.MaturationDays
	}
	z := (float64(d.Time().YearDay()-1) - median) / s.spread[g.Key]
	return 1 - math.Exp(-sureness*math.Exp(-z*z/2))
}

// worth is what a week at a river truly was worth.
func (s season) worth(river string, from forecast.Date, groups []*insects.Group) float64 {
	sum := 0.0
	for d := from; d < from+7; d++ {
		if s.spoiled(river, d) {
			continue
		}
		var worths []float64
		for _, g := range groups {
			m, ok := s.median[river][g.Key]
			if !ok {
				continue
			}
			for _, st := range insects.Stages {
				if g.Fishable(st) == insects.FishableNo || g.Kind == insects.Continuous {
					continue
				}
				worths = append(worths, s.shows(g, st, d, m))
			}
		}
		slices.SortFunc(worths, func(a, b float64) int { return cmp.Compare(b, a) })
		share := 1.0
		for _, w := range worths {
			sum += share * w
			share /= 2
		}
	}
	return sum / 7
}

// known is what a forecaster could know of a river at the issue.
func (s season) known(r River, issue time.Time, seed uint64) (forecast.Record, *trip.Flows) {
	rec := s.records[r.Slug]
	day0 := forecast.DateOf(time.Date(2018, 1, 1, 0, 0, 0, 0, time.UTC))
	today := forecast.DateOf(issue.Add(-8 * time.Hour))
	out := forecast.Record{Day0: day0, Issue: today, IssuedAt: issue, Cutoff: issue, AsOf: true}
	at := func(column []float64, d forecast.Date) (mean, low, high float64) {
		h := int(d-day0)*24 + 8
		low, high = math.Inf(1), math.Inf(-1)
		for _, v := range column[h : h+24] {
			mean, low, high = mean+v/24, min(low, v), max(high, v)
		}
		return mean, low, high
	}
	for d := day0; d < today; d++ {
		air, _, _ := at(rec.air, d)
		flow, _, _ := at(rec.flow, d)
		water, low, high := at(rec.water, d)
		if d.Time().Year() < r.firstYear {
			water, low, high = math.NaN(), math.NaN(), math.NaN()
		}
		rain := 0.0
		for _, v := range rec.rain[int(d-day0)*24+8 : int(d-day0)*24+32] {
			rain += v
		}
		out.Air, out.Flow, out.Rain = append(out.Air, air), append(out.Flow, flow), append(out.Rain, rain)
		out.Water, out.WaterMin, out.WaterMax = append(out.Water, water), append(out.WaterMin, low), append(out.WaterMax, high)
	}
	rng := rand.New(rand.NewPCG(seed, 5))
	for range Members {
		var row []float64
		off := 0.0
		for d := today; d < today+15; d++ {
			air, _, _ := at(rec.air, d)
			off += 0.5 * rng.NormFloat64()
			row = append(row, air+off)
		}
		out.AirAhead = append(out.AirAhead, row)
	}
	return out, &trip.Flows{Day0: day0, M3s: out.Flow, Limits: &wading.Limits{CareM3s: 0.6 * betterNot[r.Slug], BetterNotM3s: betterNot[r.Slug], KeepOutM3s: 1.4 * betterNot[r.Slug]}}
}
