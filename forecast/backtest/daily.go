package backtest

import (
	"slices"

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
func Daily(forecasts []Forecast, k Knowledge) []DailyScore {
	var out []DailyScore
	for _, threshold := range Thresholds {
		var p, base []float64
		var came []bool
		var years []int
		for i := range forecasts {
			f := &forecasts[i]
			rate := f.line.baseRate(threshold)
			by := f.By[k]
			for _, v := range f.line.s.visited(f.season) {
				if v.day < f.Issue {
					continue
				}
				p = append(p, phenology.CountChance(f.line.curve, f.line.numbers, by.Mean, by.SD*by.SD, v.watch, threshold))
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
	return out
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
