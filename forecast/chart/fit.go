package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
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
	Fahrenheit     bool      // label the axis in °F as well
}

const fitHead, fitFoot, fitHeight, fitWidth = 52, 34, 380, 760

// SVG is the whole picture with its key in words.
func (f Fit) SVG() string {
	hi := math.Ceil(math.Max(10, greatest(f.High, f.Observed, f.Normal))/5)*5 + 1
	p := &plot{day0: f.Day0, days: max(len(f.Mid), len(f.Observed), 2), today: -1,
		y: func(v float64) float64 { return 0.08 + 0.92*v/hi }}
	p.axis()
	for v := 0.0; v <= hi-5; v += 5 {
		label := fmt.Sprintf("%.0f °C", v)
		if f.Fahrenheit {
			label = fmt.Sprintf("%.0f °F, %.0f °C", v*9/5+32, v)
		}
		p.horizontal("month", v, label, false)
	}
	p.band(f.Low, f.High)
	p.curve("ghost", f.Normal)
	p.curve("mid", f.Mid)
	p.curve("measured", f.Observed)

	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" font-family="Georgia, 'Times New Roman', serif"><title>%s</title><desc>%s</desc><style>%s</style><rect width="%d" height="%d" fill="#f8f5ec"/>`,
		fitWidth, fitHeight, html.EscapeString(f.Title), html.EscapeString(f.Note), Style, fitWidth, fitHeight)
	fmt.Fprintf(&b, `<text class="tick" x="10" y="20" style="font-size:15px">%s</text><text class="tick small faint" x="10" y="38">%s</text>`, html.EscapeString(f.Title), html.EscapeString(f.Note))
	fmt.Fprintf(&b, `<svg x="10" y="%d" width="%d" height="%d">%s</svg>`, fitHead, fitWidth-20, fitHeight-fitHead-fitFoot, p.inner())
	x := 10
	key := func(class, words string, wide int) {
		if class == "band" {
			fmt.Fprintf(&b, `<rect class="band" x="%d" y="%d" width="30" height="12"/>`, x, fitHeight-22)
		} else {
			fmt.Fprintf(&b, `<path class="%s" d="M%d %dh30"/>`, class, x, fitHeight-16)
		}
		fmt.Fprintf(&b, `<text class="tick small" x="%d" y="%d">%s</text>`, x+36, fitHeight-12, html.EscapeString(words))
		x += wide
	}
	key("measured", "measured, daily mean", 185)
	key("mid", "model, from air and flow", 200)
	key("band", "eight days in ten", 165)
	key("ghost", "mean of the fitted years", 180)
	b.WriteString(`</svg>`)
	return b.String()
}
