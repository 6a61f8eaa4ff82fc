package backtest

import (
	"fmt"
	"math"
	"slices"

	"example.org/eclose/forecast/engine"
	"example.org/eclose/forecast/verify"
	"example.org/eclose/model/phenology"
)

// Thresholds are how many animals at a visit make a daily chance come true.
var Thresholds = []int{1, 3, 10}

// DailyScore is what the chances of single visits are worth at one threshold.
type DailyScore struct {
	Threshold   int                       `json:"animals"`
	Visits      int                       `json:"visits"`
	Brier       float64                   `json:"brier"`
	BrierBase   float64                   `json:"brier_base_rate"` // of each taxon's base rate
	Skill       verify.Interval           `json:"skill"`           // 1 - Brier / BrierBase, 90 % by resampling seasons
	Reliability []verify.ReliabilityPoint `json:"reliability"`
}

const (
	// aroundDays is how long before the first and after the last catch of a
	// season a visit is scored.
	aroundDays = 30
	// longestSet bounds the days that the catch of one visit covers.
	longestSet = 14
)

// Daily scores, on one rung of knowledge, the chance of each visit from the day of
// issue on, over visits between the season's first and last catch and 30 days to
// either side. The reference is each taxon's base rate: the share of such visits
// in the seasons of the fit that reached the threshold.
func Daily(forecasts []Forecast, k Knowledge) ([]DailyScore, error) {
	var out []DailyScore
	chances := newChances()
	for _, threshold := range Thresholds {
		var p, base []float64
		var came []bool
		var years []int
		for i := range forecasts {
			f := &forecasts[i]
			rate := f.line.baseRate(threshold)
			visits := slices.DeleteFunc(f.line.s.visited(f.season), func(v visit) bool { return v.day < f.Issue })
			said, err := chances.of(f, k, visits, threshold)
			if err != nil {
				return nil, fmt.Errorf("chances of %s of %d: %w", f.Taxon, f.Year, err)
			}
			p = append(p, said...)
			for _, v := range visits {
				base, came, years = append(base, rate), append(came, v.watch.Count >= float64(threshold)), append(years, f.Year)
			}
		}
		if len(p) == 0 {
			continue
		}
		scores, reference := squares(p, came), squares(base, came)
		out = append(out, DailyScore{Threshold: threshold, Visits: len(p), Brier: verify.Brier(p, came), BrierBase: verify.Brier(base, came),
			Skill:       verify.BootstrapBySeason(years, verify.SkillOf(scores, reference), 0.9, 500, 1),
			Reliability: verify.Reliability(p, came, verify.EqualBins(10), 0.9, 500, 1)})
	}
	return out, nil
}

// dailyMembers is how many draws stand for a forecast, as in an outlook.
const dailyMembers = 200

// chances works out the chances of visits as an outlook does: draws of
// phenology.Blend through forecast/engine.
type chances struct {
	engine engine.Engine
	result engine.Result
	scores phenology.Scores
}

func newChances() *chances { return &chances{scores: phenology.NewScores(1, dailyMembers)} }

// of are the chances that visits bring at least so many animals. A trap keeps what
// emerged since the last visit as water keeps adults until they lay, so a visit
// after n days is egg-laying 0 to n-1 days after emergence, n times as much.
func (c *chances) of(f *Forecast, k Knowledge, visits []visit, least int) ([]float64, error) {
	if len(visits) == 0 {
		return nil, nil
	}
	first := visits[0].day - longestSet
	last := visits[len(visits)-1].day
	by := f.By[k]
	dates := phenology.MedianDate{Level: by.Mean, LevelVar: by.SD * by.SD}
	d := phenology.Blend{Median: dates, Usual: dates, Shift: float64(-first)}.Draw(&c.scores, f.line.course)
	in := engine.River{Members: dailyMembers, Days: last + 1 - first}
	in.TempC = make([]float32, in.Members*in.Days) // the forecast of the date holds the water
	type opening struct {
		days   int
		effort float64
	}
	at := map[opening]int{}
	of := make([]int, len(visits))
	for i, v := range visits {
		o := opening{int(v.watch.To - v.watch.From), v.watch.Effort}
		j, ok := at[o]
		if !ok {
			j = len(in.Groups)
			at[o] = j
			g := engine.Group{Clock: engine.Clock{UpperC: math.Inf(1)}, Gate: engine.Gate{MinC: math.Inf(-1), MaxC: math.Inf(1)}, LagMax: o.days - 1, Least: least,
				DD50: d.DD50, Calendar: d.Calendar, Weight: d.Weight, SpreadDays: d.SpreadDays, Rate: d.Rate}
			for _, r := range d.Rate {
				g.RateEggs = append(g.RateEggs, r*o.effort*float64(o.days))
			}
			in.Groups = append(in.Groups, g)
		}
		of[i] = j
	}
	if err := c.engine.Forecast(&in, &c.result); err != nil {
		return nil, err
	}
	out := make([]float64, len(visits))
	for i, v := range visits {
		out[i] = c.result.Groups[of[i]][engine.EggLaying].P[v.day-first]
	}
	return out, nil
}

func squares(p []float64, came []bool) []float64 {
	out := make([]float64, len(p))
	for i := range p {
		out[i] = verify.Brier(p[i:i+1], came[i:i+1])
	}
	return out
}

// visit is one emptying of a trap, or one night.
type visit struct {
	day   int
	watch phenology.Watch
}

// visited are the visits between a season's first and last catch and aroundDays to
// either side.
func (s *Series) visited(x *Season) []visit {
	first, last := x.caughtBetween()
	from, to := dayOf(first, x.Year)-aroundDays, dayOf(last, x.Year)+aroundDays
	if s.hours || s.words {
		return s.nightly(x, from, to)
	}
	counts := map[int]float64{}
	for _, r := range s.byYear[x.Year] {
		counts[dayOf(r.Date, x.Year)] += r.Count
	}
	var out []visit
	before := from - longestSet
	for _, v := range s.visits {
		d := dayOf(v, x.Year)
		if d >= from && d <= to {
			open := max(1, min(d-before, longestSet))
			out = append(out, visit{d, phenology.Watch{From: float64(d + 1 - open), To: float64(d + 1), Effort: 1, Count: counts[d]}})
		}
		before = d
	}
	return out
}

// nightly are the visits of a trap whose hours are known.
func (s *Series) nightly(x *Season, from, to int) []visit {
	var out []visit
	for _, r := range s.byYear[x.Year] {
		d := dayOf(r.Date, x.Year)
		if d < from || d > to {
			continue
		}
		w := phenology.Watch{From: float64(d), To: float64(d + 1), Effort: max(r.Hours, 1), Count: r.Count}
		if !s.hours {
			w.Effort = 1
		}
		out = append(out, visit{d, w})
	}
	return slices.Clip(out)
}

// baseRate is the share of the visits of the seasons of the fit that reached a
// threshold.
func (l *line) baseRate(threshold int) float64 {
	n, reached := 0.0, 0.0
	for _, k := range l.fit {
		for _, v := range l.s.visited(&l.s.Seasons[k]) {
			n++
			if v.watch.Count >= float64(threshold) {
				reached++
			}
		}
	}
	return reached / max(n, 1)
}
