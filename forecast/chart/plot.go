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
	y            func(v float64) float64 // 0 at the foot, 1 at the top
	b            strings.Builder         // lines
	text         strings.Builder         // words
}

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
		if p.days-i > p.days/16 {
			fmt.Fprintf(&p.text, `<text class="tick small" x="%.1f%%" y="100%%" dx="2" dy="-4">%s</text>`, 100*float64(i)/float64(p.days-1), p.day0.AddDate(0, 0, i).Format("Jan"))
		}
	}
	shape(&p.b, "month", d.String())
}

// inline is the drawing for a page.
func (p *plot) inline() string {
	return fmt.Sprintf(`<svg class="reach %s" height="260" role="img" aria-label="%s">%s</svg>`, p.class, html.EscapeString(p.title), p.inner())
}

// whole is the drawing as a file of its own.
func (p *plot) whole() string {
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" width="760" height="280" role="img" font-family="Georgia, 'Times New Roman', serif"><title>%s</title><style>%s</style><rect width="100%%" height="100%%" fill="#f8f5ec"/>%s</svg>`,
		html.EscapeString(p.title), Style, p.inner())
}

func (p *plot) inner() string {
	if p.today >= 0 && p.today < p.days {
		shape(&p.b, "today", fmt.Sprintf("M%d 0v%d", p.today, tall))
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
