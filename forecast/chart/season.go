package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"
)

// Trace is one stage of one group over consecutive days: shares of a season's
// activity per day, all of one length.
type Trace struct {
	Low, Mid, High []float64 // 10, 50, 90 % point of the share
	Calendar       []float64 // the calendar-only share
	Observed       [][2]int  // past seasons' windows seen here, as first and last index
}

// Line is one group: what rises from the water and what comes back to it.
type Line struct {
	Name      string
	Note      string // stands under the name: grade, window
	Emergence Trace
	EggLaying Trace
	Muted     [2]bool // emergence, egg-laying not fishable
}

// Season is the picture of a river's season.
type Season struct {
	Title string
	Day0  time.Time // date of index 0
	Days  int
	Today int // index of the issue date, -1 for none
	Lines []Line
	// Href, if set, makes each name a link.
	Href func(i int) string
}

const (
	seasonWidth = 720
	nameWidth   = 168
	rowHeight   = 58
	headHeight  = 40
)

// SVG draws each group as its own waterline. What emerges is drawn above the
// line, since it leaves the water; what lays eggs is drawn below, since it
// comes back. The solid shape is the middle estimate, the pale one around it
// the upper 90 % point, the dashed line what the calendar alone would say.
func (s Season) SVG() string {
	var b strings.Builder
	height := headHeight + rowHeight*len(s.Lines) + 26
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" class="season" font-family="Georgia, 'Times New Roman', serif">`, seasonWidth, height)
	fmt.Fprintf(&b, `<title>%s</title><desc>%s</desc>`, html.EscapeString(s.Title), html.EscapeString(s.describe()))
	b.WriteString(`<style>.season{background:var(--paper,#fbfaf6)}.ink{fill:var(--ink,#1d2b2a)}.faint{fill:var(--faint,#59696a)}` +
		`.water{stroke:var(--ink,#1d2b2a);stroke-width:.8}.grid{stroke:var(--grid,#d6d3c8);stroke-width:.6}` +
		`.up{fill:var(--up,#3f6b5c)}.down{fill:var(--down,#7a5c3a)}.haze{opacity:.28}.muted{fill-opacity:.35}` +
		`.ghost{fill:none;stroke:var(--ink,#1d2b2a);stroke-width:.9;stroke-dasharray:3 3}.seen{stroke:var(--ink,#1d2b2a);stroke-width:2}` +
		`.today{stroke:var(--ink,#1d2b2a);stroke-width:1.2;stroke-dasharray:1 3}</style>`)
	s.axis(&b, height)
	for i, l := range s.Lines {
		s.line(&b, i, l)
	}
	if s.Today >= 0 && s.Today < s.Days {
		x := s.x(float64(s.Today))
		fmt.Fprintf(&b, `<line class="today" x1="%.1f" y1="%d" x2="%.1f" y2="%d"/><text class="ink" font-size="10" x="%.1f" y="%d" text-anchor="middle">issued</text>`,
			x, headHeight-6, x, height-20, x, height-8)
	}
	b.WriteString(`</svg>`)
	return b.String()
}

func (s Season) x(i float64) float64 {
	return nameWidth + i/float64(max(1, s.Days-1))*float64(seasonWidth-nameWidth-10)
}

func (s Season) axis(b *strings.Builder, height int) {
	for i := range s.Days {
		d := s.Day0.AddDate(0, 0, i)
		switch {
		case d.Day() == 1:
			x := s.x(float64(i))
			fmt.Fprintf(b, `<line class="grid" x1="%.1f" y1="%d" x2="%.1f" y2="%d"/>`, x, headHeight-12, x, height-20)
			if s.Days-i > 12 {
				fmt.Fprintf(b, `<text class="ink" font-size="11" x="%.1f" y="%d">%s</text>`, x+3, headHeight-16, d.Format("Jan"))
			}
		case d.Weekday() == time.Monday:
			x := s.x(float64(i))
			fmt.Fprintf(b, `<line class="grid" x1="%.1f" y1="%d" x2="%.1f" y2="%d"/>`, x, headHeight-12, x, headHeight-8)
		}
	}
}

func (s Season) line(b *strings.Builder, i int, l Line) {
	base := float64(headHeight + i*rowHeight + rowHeight/2)
	name := html.EscapeString(l.Name)
	if s.Href != nil {
		name = fmt.Sprintf(`<a href="%s">%s</a>`, html.EscapeString(s.Href(i)), name)
	}
	fmt.Fprintf(b, `<text class="ink" font-size="12" x="6" y="%.1f">%s</text><text class="faint" font-size="9.5" x="6" y="%.1f">%s</text>`,
		base-2, name, base+11, html.EscapeString(l.Note))
	for k, t := range []Trace{l.Emergence, l.EggLaying} {
		top := peak(t)
		if top == 0 {
			continue
		}
		scale := (rowHeight/2 - 5) / top
		class, sign := "up", -1.0
		if k == 1 {
			class, sign = "down", 1.0
		}
		if l.Muted[k] {
			class += " muted"
		}
		fmt.Fprintf(b, `<path class="%s haze" d="%s"/>`, class, s.area(t.High, base, sign*scale))
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, s.area(t.Mid, base, sign*scale))
		fmt.Fprintf(b, `<path class="ghost" d="%s"/>`, s.outline(t.Calendar, base, sign*scale))
		for j, w := range t.Observed {
			y := base + sign*(rowHeight/2-3-2.5*float64(j))
			fmt.Fprintf(b, `<line class="seen" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, s.x(float64(w[0])), y, s.x(float64(w[1])), y)
		}
	}
	fmt.Fprintf(b, `<line class="water" x1="%d" y1="%.1f" x2="%d" y2="%.1f"/>`, nameWidth, base, seasonWidth-10, base)
}

func peak(t Trace) float64 {
	m := 0.0
	for _, c := range [][]float64{t.High, t.Mid, t.Calendar} {
		for _, v := range c {
			m = math.Max(m, v)
		}
	}
	return m
}

// area is a closed shape between the waterline and the values; days without
// activity are left out to keep the file small.
func (s Season) area(v []float64, base, scale float64) string {
	first, last := span(v)
	if first < 0 {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, "M%.1f %.1f", s.x(float64(first)), base)
	for i := first; i <= last; i++ {
		fmt.Fprintf(&b, "L%.1f %.1f", s.x(float64(i)), base+scale*v[i])
	}
	fmt.Fprintf(&b, "L%.1f %.1fZ", s.x(float64(last)), base)
	return b.String()
}

func (s Season) outline(v []float64, base, scale float64) string {
	first, last := span(v)
	if first < 0 {
		return ""
	}
	var b strings.Builder
	for i := first; i <= last; i++ {
		c := 'L'
		if i == first {
			c = 'M'
		}
		fmt.Fprintf(&b, "%c%.1f %.1f", c, s.x(float64(i)), base+scale*v[i])
	}
	return b.String()
}

// span is the first and last index where v is worth drawing.
func span(v []float64) (first, last int) {
	top := 0.0
	for _, x := range v {
		top = math.Max(top, x)
	}
	first, last = -1, -1
	for i, x := range v {
		if x > top*0.004 && x > 0 {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	return first, last
}

func (s Season) describe() string {
	var parts []string
	for _, l := range s.Lines {
		parts = append(parts, l.Name+": "+l.Note)
	}
	return "Each group has a waterline. Above it: emergence. Below it: egg-laying. Dashed: the calendar alone. " + strings.Join(parts, ". ")
}
