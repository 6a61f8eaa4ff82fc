package chart

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strings"
	"time"
)

// plot is a drawing over days whose lines stretch with its place while its
// words do not.
type plot struct {
	class, title string
	day0         time.Time
	days         int
	today        int
	bare         bool // today is named elsewhere
	key          []keyed
	y            func(v float64) float64 // 0 at the foot, 1 at the top
	b            strings.Builder         // lines
	text         strings.Builder         // words
}

// keyed is a kind of line and what it stands for.
type keyed struct{ class, words string }

// tall is the height of the grid that lines are drawn on.
const tall = 400

func (p *plot) point(i int, v float64) point {
	return point{i, int(math.Round(tall * (1 - min(1.1, max(-0.1, p.y(v))))))}
}

// horizontal is a line at a value with words above its left or right end.
func (p *plot) horizontal(class string, v float64, words string, right bool) {
	at := p.point(0, v)
	shape(&p.b, class, fmt.Sprintf("M0 %dh%d", at.y, p.days-1))
	x, anchor := "2", ""
	if right {
		x, anchor = "99.5%", ` text-anchor="end"`
	}
	fmt.Fprintf(&p.text, `<text class="tick small" x="%s" y="%.1f%%" dy="-3"%s>%s</text>`, x, 100*float64(at.y)/tall, anchor, html.EscapeString(words))
}

// meets reports whether words above a line of the scale would lie on the line of a
// limit, whose own words have the number too.
func (p *plot) meets(at point, limits []Limit) bool {
	const above, below = 20 * tall / plotHigh, 3 * tall / plotHigh
	for _, l := range limits {
		if y := p.point(0, l.M3s).y; y > at.y-above && y < at.y+below {
			return true
		}
	}
	return false
}

// curve is an open line; NaN breaks it.
func (p *plot) curve(class string, v []float64) {
	var w pen
	var run []point
	flush := func() {
		if len(run) > 0 {
			run = thin(run, 1)
			w.move(run[0])
			w.line(run[1:])
			run = nil
		}
	}
	for i, x := range v {
		if math.IsNaN(x) {
			flush()
			continue
		}
		run = append(run, p.point(i, x))
	}
	flush()
	shape(&p.b, class, string(w.b))
}

// band is the shape between two lines, over the days on which both are known.
func (p *plot) band(low, high []float64) {
	var up, down []point
	for i := range min(len(low), len(high)) {
		if !math.IsNaN(low[i]) && !math.IsNaN(high[i]) {
			up, down = append(up, p.point(i, high[i])), append(down, p.point(i, low[i]))
		}
	}
	if len(up) == 0 {
		return
	}
	up, down = thin(up, 1), thin(down, 1)
	var w pen
	w.move(up[0])
	w.line(up[1:])
	for i := range slices.Backward(down) {
		w.line(down[i : i+1])
	}
	w.b = append(w.b, 'z')
	shape(&p.b, "band", string(w.b))
}

func (p *plot) axis() {
	s := Season{Day0: p.day0, Days: p.days}
	var d strings.Builder
	for _, i := range s.months() {
		fmt.Fprintf(&d, "M%d 0v%d", i, tall)
		crossed := p.today >= i && p.today-i < p.days/12 // by the line of today
		if p.days-i > p.days/16 && !crossed {
			fmt.Fprintf(&p.text, `<text class="tick small" x="%.1f%%" y="100%%" dx="2" dy="-4">%s</text>`, 100*float64(i)/float64(p.days-1), p.day0.AddDate(0, 0, i).Format("Jan"))
		}
	}
	shape(&p.b, "month", d.String())
}

// plotHigh is the height of a drawing on a page, pixels.
const plotHigh = aheadHigh

// inline is the drawing for a page.
func (p *plot) inline() string {
	return fmt.Sprintf(`<svg class="reach %s" height="%d" role="img" aria-label="%s">%s</svg>`, p.class, plotHigh, html.EscapeString(p.title), p.inner())
}

const frameHead, frameFoot, frameHeight, frameWidth = 52, 34, 380, 760

// whole is the drawing as a file of its own, with its title, a note and a key.
func (p *plot) whole(title, note string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]d" height="%[2]d" viewBox="0 0 %[1]d %[2]d" role="img" font-family="Georgia, 'Times New Roman', serif"><title>%[3]s</title><desc>%[4]s</desc><style>%[5]s</style><rect width="%[1]d" height="%[2]d" fill="#f8f5ec"/>`,
		frameWidth, frameHeight, html.EscapeString(title), html.EscapeString(note), Style)
	fmt.Fprintf(&b, `<text class="tick" x="10" y="20" style="font-size:15px">%s</text><text class="tick small faint" x="10" y="38">%s</text>`, html.EscapeString(title), html.EscapeString(note))
	fmt.Fprintf(&b, `<svg x="10" y="%d" width="%d" height="%d">%s</svg>`, frameHead, frameWidth-20, frameHeight-frameHead-frameFoot, p.inner())
	x := 10
	for _, k := range p.key {
		if k.class == "band" {
			fmt.Fprintf(&b, `<rect class="band" x="%d" y="%d" width="30" height="12"/>`, x, frameHeight-22)
		} else {
			fmt.Fprintf(&b, `<path class="%s" d="M%d %dh30"/>`, k.class, x, frameHeight-16)
		}
		fmt.Fprintf(&b, `<text class="tick small" x="%d" y="%d">%s</text>`, x+36, frameHeight-12, html.EscapeString(k.words))
		x += 52 + 6*len(k.words)
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// degrees are the lines of a temperature axis, whose upper end is at hi, °C: at
// round numbers of the reader's unit.
func (p *plot) degrees(hi float64, fahrenheit bool) {
	const room = 4 // °C that a label needs above its line
	if fahrenheit {
		for f := 40.0; (f-32)/1.8 <= hi-room; f += 10 {
			p.horizontal("month", (f-32)/1.8, fmt.Sprintf("%.0f °F", f), false)
		}
		return
	}
	for v := 0.0; v <= hi-room; v += 5 {
		p.horizontal("month", v, fmt.Sprintf("%.0f °C", v), false)
	}
}

func (p *plot) inner() string {
	if p.today >= 0 && p.today < p.days {
		shape(&p.b, "today", fmt.Sprintf("M%d 0v%d", p.today, tall))
		if !p.bare {
			fmt.Fprintf(&p.text, `<text class="tick small now" x="%.1f%%" y="13" dx="5">today, %s</text>`, 100*float64(p.today)/float64(p.days-1), p.day0.AddDate(0, 0, p.today).Format("2 Jan"))
		}
		p.today = -1
	}
	return fmt.Sprintf(`<svg width="100%%" height="100%%" viewBox="0 0 %d %d" preserveAspectRatio="none" class="reach">%s</svg>%s`, p.days-1, tall, p.b.String(), p.text.String())
}

// greatest of all values that are known.
func greatest(columns ...[]float64) float64 {
	m := math.Inf(-1)
	for _, c := range columns {
		for _, v := range c {
			if !math.IsNaN(v) {
				m = math.Max(m, v)
			}
		}
	}
	return m
}
