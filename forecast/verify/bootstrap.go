package verify

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Interval is a figure with the range in which it would vary had other seasons
// happened.
type Interval struct {
	Value   float64 `json:"value"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
	Seasons int     `json:"seasons"`
}

// Excludes reports whether v lies outside the interval.
func (i Interval) Excludes(v float64) bool { return v < i.Low || v > i.High }

// BootstrapBySeason draws whole seasons with replacement and recomputes a
// figure each time; Low and High are the percentile interval of the level.
// Seasons are the independent unit: ten seasons at twenty rivers are ten, not
// two hundred. seasons labels each case; figure gets the indices of the cases
// of one draw (a case occurs as often as its season was drawn) and must not
// keep the slice. Draws whose figure is NaN are left out. With fewer than two
// seasons there is no interval: NaN.
// Source: Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 13;
// blocks as in Hamill 1999, Wea. Forecasting 14, 155-167.
func BootstrapBySeason(seasons []int, figure func(cases []int) float64, level float64, draws int, seed uint64) Interval {
	cases := map[int][]int{}
	all := make([]int, len(seasons))
	for i, s := range seasons {
		cases[s] = append(cases[s], i)
		all[i] = i
	}
	labels := make([]int, 0, len(cases))
	for s := range cases {
		labels = append(labels, s)
	}
	slices.Sort(labels)
	of := make([][]int, len(labels))
	for k, s := range labels {
		of[k] = cases[s]
	}
	out := Interval{Value: figure(all), Low: math.NaN(), High: math.NaN(), Seasons: len(labels)}
	if len(labels) < 2 {
		return out
	}
	draw := make([]int, 0, len(seasons))
	return NewResampling(len(labels), draws, seed).Interval(out.Value, func(picked []int) float64 {
		draw = draw[:0]
		for _, k := range picked {
			draw = append(draw, of[k]...)
		}
		return figure(draw)
	}, level)
}

// Resampling holds the draws of BootstrapBySeason for so many seasons, so that many figures
// of as many seasons can share them.
type Resampling struct {
	seasons int
	picked  []int // the index of each season drawn, draw after draw
}

// NewResampling makes the draws that BootstrapBySeason makes of a seed.
func NewResampling(seasons, draws int, seed uint64) *Resampling {
	rng := rand.New(rand.NewPCG(seed, 0x626f6f74))
	r := &Resampling{seasons, make([]int, seasons*draws)}
	for i := range r.picked {
		r.picked[i] = rng.IntN(seasons)
	}
	return r
}

// Interval returns the interval of a figure that is value over all seasons, and by draw what
// figure makes of the indices of the seasons drawn, of which it must not keep the slice.
func (r *Resampling) Interval(value float64, figure func(picked []int) float64, level float64) Interval {
	values := make([]float64, 0, len(r.picked)/r.seasons)
	for at := 0; at < len(r.picked); at += r.seasons {
		if v := figure(r.picked[at : at+r.seasons]); !math.IsNaN(v) {
			values = append(values, v)
		}
	}
	return Interval{Value: value, Low: quantile(values, (1-level)/2), High: quantile(values, (1+level)/2), Seasons: r.seasons}
}

// SkillOf is a figure for BootstrapBySeason: 1 - mean(score)/mean(reference),
// the two resampled together, case by case.
func SkillOf(scores, reference []float64) func([]int) float64 {
	sameLength("paired skill", len(scores), len(reference))
	return func(cases []int) float64 {
		var a, b float64
		for _, i := range cases {
			a, b = a+scores[i], b+reference[i]
		}
		return Skill(a, b)
	}
}

// FewSeasons is the number of seasons below which a difference is called "not
// demonstrated" whatever its interval says: a percentile interval of so few
// blocks is too narrow. Our own default.
const FewSeasons = 8

// Verdicts on a skill that has been shown.
const (
	Better = "better than the reference"
	Worse  = "worse than the reference"
)

// Verdict says in plain words whether a skill (larger is better, 0 is the
// reference) has been shown.
func Verdict(skill Interval) string {
	switch {
	case skill.Seasons < FewSeasons || math.IsNaN(skill.Low):
		return "not demonstrated: too few seasons"
	case skill.Low > 0:
		return Better
	case skill.High < 0:
		return Worse
	}
	return "not demonstrated: the interval includes zero"
}
