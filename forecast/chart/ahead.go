package chart

import (
	"fmt"
	"html"
	"math"
	"sort"
	"strings"
	"time"
)

// Ahead is the flow of the last days and of the days to come beside the flows
// from which a river asks for caution, m3/s. NaN leaves a gap.
type Ahead struct {
	Title          string // what it shows, in words
	Day0           time.Time
	Today          int       // index
	Measured       []float64 // daily means
	Low, Mid, High []float64 // 10, 50, 90 % point ahead
	Limits         []Limit   // the lowest first: their names stand in the gutter
	Per            float64   // of the axis: m3/s that make one of its unit; 0: one
	Label          func(m3s float64) string
	Now            string // stands over the line of today
}

// aheadHigh is the height in pixels that the names in the gutter are set for.
const aheadHigh = 230

// Plot is the drawing, from zero up, as wide as its place.
func (a Ahead) Plot() string {
	top := a.top()
	p := &plot{class: "ahead", title: a.Title, day0: a.Day0, days: max(len(a.Mid), len(a.Measured), 2), today: a.Today, bare: true, y: func(v float64) float64 { return v / top }}
	per := a.Per
	if per == 0 {
		per = 1
	}
	for _, v := range steps(top / per) {
		at := p.point(0, v*per)
		shape(&p.b, "month", fmt.Sprintf("M0 %dh%d", at.y, p.days-1))
		if !p.meets(at, a.Limits) {
			fmt.Fprintf(&p.text, `<text class="tick small faint" x="2" y="%.1f%%" dy="-3">%s</text>`, 100*float64(at.y)/tall, html.EscapeString(a.Label(v*per)))
		}
	}
	p.band(a.Low, a.High)
	for i, l := range a.Limits {
		at := p.point(0, l.M3s)
		shape(&p.b, "limit "+limitClass(i), fmt.Sprintf("M0 %dh%d", at.y, p.days-1))
	}
	p.curve("mid", a.Mid)
	p.curve("measured", a.Measured)
	shape(&p.b, "surface", fmt.Sprintf("M0 %dh%d", tall, p.days-1))
	return p.inline()
}

// Widths in pixels: of the drawing on the narrowest phone, beside its gutter, and on a
// desk; of a day's number and of its name, with some air.
const (
	narrowest, widest  = 165.0, 560.0
	dayNumber, dayName = 26.0, 48.0
)

// everyDay is how often days are named so that words of a width find room: each day,
// each second, fourth or eighth.
func everyDay(days int, wide, word float64) int {
	every := 1
	for float64(every)*wide/float64(days-1) < word && every < days {
		every *= 2
	}
	return every
}

// Axis names days under the drawing, and today above it: by their numbers where it is
// narrow, with the day of the week where it is wide; the page's style shows one of them.
func (a Ahead) Axis() (days, today string) {
	n := max(len(a.Mid), len(a.Measured), 2)
	x := func(i int) float64 { return round1(100 * float64(i) / float64(n-1)) }
	var b strings.Builder
	name := func(class, layout string, wide, word float64) {
		every := everyDay(n, wide, word)
		for i := range n {
			// A word at its day needs half its width on either side.
			if i != a.Today && (i-a.Today)%every == 0 && float64(min(i, n-1-i))*wide/float64(n-1) >= word/2 {
				fmt.Fprintf(&b, `<text class="tick small %s" text-anchor="middle" x="%g%%" y="15">%s</text>`, class, x(i), a.Day0.AddDate(0, 0, i).Format(layout))
			}
		}
	}
	name("narrow", "2", narrowest, dayNumber)
	name("wide", "Mon 2", widest, dayName)
	fmt.Fprintf(&b, `<text class="tick small" text-anchor="middle" x="%g%%" y="15">today</text>`, x(a.Today))
	days = fmt.Sprintf(`<svg class="reach" height="20" aria-hidden="true">%s</svg>`, b.String())
	today = fmt.Sprintf(`<svg class="reach" height="22" aria-hidden="true"><line class="today" x1="%[1]g%%" x2="%[1]g%%" y1="2" y2="22"/><text class="tick now" x="%[1]g%%" y="14" dx="6">%[2]s</text></svg>`, x(a.Today), html.EscapeString(a.Now))
	return days, today
}

// Gutter names the limits beside the drawing, each at its height, moved apart
// where they would touch.
func (a Ahead) Gutter() string {
	top := a.top()
	const line, two = 15.0, 34.0
	type name struct {
		y float64
		l Limit
	}
	var names []name
	for _, l := range a.Limits {
		names = append(names, name{aheadHigh * (1 - l.M3s/top), l})
	}
	sort.Slice(names, func(i, j int) bool {
		x, y := names[i], names[j]
		return int(math.Copysign(1, x.y-y.y)) < 0
	})
	for i := len(names) - 1; i >= 0; i-- { // from the foot up
		limit := aheadHigh - two/2
		if i < len(names)-1 {
			limit = names[i+1].y - two
		}
		names[i].y = math.Min(names[i].y, limit)
	}
	for i := range names { // and from the top down
		least := two / 2
		if i > 0 {
			least = names[i-1].y + two
		}
		names[i].y = math.Max(names[i].y, least)
	}
	var b strings.Builder
	for _, n := range names {
		fmt.Fprintf(&b, `<text class="tick small" x="6" y="%.0f">%s</text><text class="tick small faint" x="6" y="%.0f">from %s</text>`, n.y-2, html.EscapeString(n.l.Name), n.y-2+line, html.EscapeString(a.Label(n.l.M3s)))
	}
	return fmt.Sprintf(`<svg class="gutter" height="%d" aria-hidden="true">%s</svg>`, aheadHigh, b.String())
}

func limitClass(i int) string { return [...]string{"care", "better", "out"}[min(i, 2)] }

func (a Ahead) top() float64 {
	top := greatest(a.High, a.Mid, a.Measured)
	for _, l := range a.Limits {
		top = math.Max(top, l.M3s)
	}
	return math.Max(top, 1e-6) * 1.08
}

// steps are two to five round values below a top, zero apart.
func steps(top float64) []float64 {
	unit := math.Pow(10, math.Floor(math.Log10(top)))
	for _, s := range []float64{0.2, 0.5, 1, 2, 5} {
		if n := top / (s * unit); n <= 5 {
			var out []float64
			for v := s * unit; v < top*0.93; v += s * unit {
				out = append(out, v)
			}
			return out
		}
	}
	return nil
}
