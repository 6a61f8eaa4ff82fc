package chart

import (
	"math"
	"time"
)

// Water is a year of water temperature, °C, day by day. NaN leaves a gap.
type Water struct {
	Title, Note    string // the note is of the whole picture only
	Day0           time.Time
	Low, Mid, High []float64 // the band: 10, 50, 90 % point
	Observed       []float64
	Normal         []float64 // mean of past seasons
	Today          int
	Fahrenheit     bool // label the axis in °F
}

// SVG is the whole picture; Inline is its part for a page.
func (w Water) SVG() string { return w.plot().whole(w.Title, w.Note) }

// Inline is the picture as an element of a page, whose style it takes.
func (w Water) Inline() string { return w.plot().inline() }

func (w Water) plot() *plot {
	hi := math.Ceil(math.Max(10, greatest(w.High, w.Observed, w.Normal))/5)*5 + 1
	p := &plot{class: "waterchart", title: w.Title + ". Solid: measured. Dashes and band: forecast with 80% range. Dots: average of past seasons",
		day0: w.Day0, days: max(len(w.Mid), len(w.Observed), 2), today: w.Today,
		y:   func(v float64) float64 { return 0.08 + 0.92*v/hi },
		key: []keyed{{"measured", "measured, daily mean"}, {"mid", "forecast"}, {"band", "80% range"}, {"ghost", "mean of past seasons"}}}
	p.axis()
	p.degrees(hi, w.Fahrenheit)
	p.band(w.Low, w.High)
	p.curve("ghost", w.Normal)
	p.curve("mid", w.Mid)
	p.curve("measured", w.Observed)
	return p
}

// Flow is a season of daily flow among past ones, m3/s. NaN leaves a gap.
type Flow struct {
	Title          string
	Day0           time.Time
	Low, Mid, High []float64 // past seasons: 10, 50, 90 % of the days around the date
	Observed       []float64
	Today          int
	Limits         []Limit
	Per            float64 // of the axis: m3/s that make one of its unit; 0: one
	Label          func(m3s float64) string
}

// Limit is a flow with a name.
type Limit struct {
	M3s  float64
	Name string
}

// Inline is the picture as an element of a page, whose style it takes.
func (f Flow) Inline() string { return f.plot().inline() }

// plot has a logarithmic scale: floods are many times the common flow.
func (f Flow) plot() *plot {
	hi := math.Max(1e-3, greatest(f.High, f.Observed))
	lo := math.Inf(1)
	for _, c := range [][]float64{f.Low, f.Observed} {
		for _, v := range c {
			if v > 0 {
				lo = math.Min(lo, v)
			}
		}
	}
	for _, l := range f.Limits {
		hi = math.Max(hi, l.M3s)
	}
	if math.IsInf(lo, 1) || lo >= hi {
		lo = hi / 10
	}
	lo, hi = math.Max(lo/1.3, hi/1e4), hi*1.3
	p := &plot{class: "flowchart", title: f.Title + ". Solid: measured. Band and dots: 80% range and median of past seasons. Heavy dots: caution levels",
		day0: f.Day0, days: max(len(f.Mid), len(f.Observed), 2), today: f.Today,
		y: func(v float64) float64 { return 0.08 + 0.92*math.Log(math.Max(v, lo)/lo)/math.Log(hi/lo) }}
	p.axis()
	per := f.Per
	if per == 0 {
		per = 1
	}
	for _, v := range rounds(lo/per, hi/per) {
		words := f.Label(v * per)
		if p.meets(p.point(0, v*per), f.Limits) {
			words = ""
		}
		p.horizontal("month", v*per, words, false)
	}
	p.band(f.Low, f.High)
	p.curve("ghost", f.Mid)
	p.curve("measured", f.Observed)
	for i, l := range f.Limits {
		p.horizontal("limit "+limitClass(i), l.M3s, l.Name, true)
	}
	return p
}

// rounds are the values 1, 2, 5 times a power of ten within a range, or the
// powers alone where there are many.
func rounds(lo, hi float64) []float64 {
	var out []float64
	steps := []float64{1, 2, 5}
	if hi/lo > 200 {
		steps = steps[:1]
	}
	for e := math.Floor(math.Log10(lo)); e <= math.Log10(hi); e++ {
		for _, s := range steps {
			if v := s * math.Pow(10, e); v >= lo && v <= hi {
				out = append(out, v)
			}
		}
	}
	return out
}
