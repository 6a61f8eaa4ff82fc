package chart

import (
	"math"
	"time"
)

// Fit is some months of a water temperature model beside what was measured, °C,
// day by day. NaN leaves a gap.
type Fit struct {
	Title, Note    string // the note stands under the title
	Day0           time.Time
	Low, Mid, High []float64 // the band of the model: 10, 50, 90 % point
	Observed       []float64
	Normal         []float64 // mean of the fitted years
	Fahrenheit     bool      // label the axis in °F
}

// SVG is the whole picture with its key in words.
func (f Fit) SVG() string {
	hi := math.Ceil(math.Max(10, greatest(f.High, f.Observed, f.Normal))/5)*5 + 1
	p := &plot{day0: f.Day0, days: max(len(f.Mid), len(f.Observed), 2), today: -1,
		y:   func(v float64) float64 { return 0.08 + 0.92*v/hi },
		key: []keyed{{"measured", "measured, daily mean"}, {"mid", "model, from air and flow"}, {"band", "80% range"}, {"ghost", "mean of the fitted years"}}}
	p.axis()
	p.degrees(hi, f.Fahrenheit)
	p.band(f.Low, f.High)
	p.curve("ghost", f.Normal)
	p.curve("mid", f.Mid)
	p.curve("measured", f.Observed)
	return p.whole(f.Title, f.Note)
}
