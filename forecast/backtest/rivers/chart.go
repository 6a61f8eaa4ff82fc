package rivers

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"

	"example.org/eclose/forecast/verify"
)

// line is one curve of a chart with, perhaps, intervals. Points that are not known
// are left out.
type line struct {
	name   string
	x, y   []float64
	ranges []verify.Interval // as long as y, or nil
	style  int
}

// span is the part of an axis that is shown.
type span struct{ from, to float64 }

func (s span) with(v float64) span {
	if math.IsNaN(v) {
		return s
	}
	return span{min(s.from, v), max(s.to, v)}
}

// drawing is a chart of curves or, with rows, of one dot a row.
type drawing struct {
	title, desc    string // for those who cannot see it
	width, height  float64
	left           float64 // room for the words beside the axis upwards
	xLabel, yLabel string
	x, y           span
	xTicks         []float64 // nil: round numbers
	rows           []string  // names of dots from above, or nil
	across, up     bool      // a line where the height, or the value across, is 0
	diagonal       bool
	lines          []line
	b              strings.Builder
}

// Sizes in pixels. Our own defaults.
const (
	wide, high, square  = 605, 321, 416
	edge, under, rowGap = 14, 44, 16
)

// Curves differ by dash and mark, not by colour alone.
var (
	inks   = []string{"#1f5a4a", "#8a5a1c", "#4a4f7a"}
	dashes = []string{"", "7 4", "2 4"}
)

const ink = "#1d2b2a"

// fit widens the axes to the curves and their intervals.
func (d *drawing) fit() {
	for _, l := range d.lines {
		for i := range l.x {
			if math.IsNaN(l.y[i]) {
				continue
			}
			d.x, d.y = d.x.with(l.x[i]), d.y.with(l.y[i])
			if l.ranges != nil {
				d.y = d.y.with(l.ranges[i].Low).with(l.ranges[i].High)
			}
		}
	}
}

func (d *drawing) at(x, y float64) (px, py float64) {
	return d.left + (x-d.x.from)/(d.x.to-d.x.from)*(d.width-d.left-edge), edge + (d.y.to-y)/(d.y.to-d.y.from)*(d.height-edge-under)
}

func (d *drawing) stroke(x1, y1, x2, y2 float64, color string, width float64) {
	fmt.Fprintf(&d.b, `<path d="M%.1f %.1fL%.1f %.1f" stroke="%s" stroke-width="%g"/>`, x1, y1, x2, y2, color, width)
}

func (d *drawing) text(x, y float64, anchor, words string) {
	fmt.Fprintf(&d.b, `<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, y, anchor, html.EscapeString(words))
}

// svg draws the chart.
func (d *drawing) svg() template.HTML {
	fmt.Fprintf(&d.b, `<svg role="img" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" fill="none" font-size="13"><title>%s</title><desc>%s</desc>`,
		d.width, d.height, d.width, d.height, html.EscapeString(d.title), html.EscapeString(d.desc))
	d.axes()
	for i, l := range d.lines {
		d.curve(l)
		if d.rows == nil {
			d.key(i, l)
		}
	}
	d.b.WriteString("</svg>")
	return template.HTML(d.b.String()) //nolint:gosec // drawn here from numbers; words are escaped
}

// axes draws the grid and what stands beside it.
func (d *drawing) axes() {
	left, bottom := d.at(d.x.from, d.y.from)
	right, top := d.at(d.x.to, d.y.to)
	xs := d.xTicks
	if xs == nil {
		xs = roundNumbers(d.x)
	}
	d.b.WriteString(`<g fill="` + ink + `">`)
	for _, v := range xs {
		x, _ := d.at(v, 0)
		d.stroke(x, top, x, bottom, "#eee", 1)
		d.text(x, bottom+17, "middle", plainNumber(v))
	}
	if d.rows == nil {
		for _, v := range roundNumbers(d.y) {
			_, y := d.at(0, v)
			d.stroke(left, y, right, y, "#ddd", 1)
			d.text(left-7, y+4, "end", plainNumber(v))
		}
	}
	for i, name := range d.rows {
		_, y := d.at(0, float64(len(d.rows)-1-i))
		d.text(left-7, y+4, "end", name)
	}
	d.text((left+right)/2, d.height-8, "middle", d.xLabel)
	if d.yLabel != "" {
		fmt.Fprintf(&d.b, `<text transform="translate(13 %.1f) rotate(-90)" text-anchor="middle">%s</text>`, (top+bottom)/2, html.EscapeString(d.yLabel))
	}
	d.b.WriteString("</g>")
	d.stroke(left, bottom, right, bottom, ink, 1)
	d.stroke(left, top, left, bottom, ink, 1)
	if d.across {
		_, y := d.at(0, 0)
		d.stroke(left, y, right, y, ink, 1)
	}
	if d.up {
		x, _ := d.at(0, 0)
		d.stroke(x, top, x, bottom, ink, 1)
	}
	if d.diagonal {
		d.stroke(left, bottom, right, top, ink, 1)
	}
}

// curve draws a line, its marks and its intervals; along the rows, the marks only.
func (d *drawing) curve(l line) {
	c, path, pen := inks[l.style%len(inks)], strings.Builder{}, "M"
	for i := range l.x {
		if math.IsNaN(l.y[i]) {
			continue
		}
		x, y := d.at(l.x[i], l.y[i])
		fmt.Fprintf(&path, "%s%.1f %.1f", pen, x, y)
		pen = "L"
		d.mark(x, y, l.style)
		if l.ranges == nil || math.IsNaN(l.ranges[i].Low) {
			continue
		}
		if d.rows != nil {
			from, _ := d.at(l.ranges[i].Low, 0)
			to, _ := d.at(l.ranges[i].High, 0)
			d.stroke(from, y, to, y, c, 1.3)
			continue
		}
		_, low := d.at(0, l.ranges[i].Low)
		_, high := d.at(0, l.ranges[i].High)
		d.stroke(x, low, x, high, c, 1.3)
		d.stroke(x-3, low, x+3, low, c, 1.3)
		d.stroke(x-3, high, x+3, high, c, 1.3)
	}
	if d.rows == nil && path.Len() > 0 {
		fmt.Fprintf(&d.b, `<path d="%s" stroke="%s" stroke-width="1.9" stroke-dasharray="%s"/>`, path.String(), c, dashes[l.style%len(dashes)])
	}
}

// mark is a circle, a square or a triangle.
func (d *drawing) mark(x, y float64, style int) {
	c := inks[style%len(inks)]
	switch style % 3 {
	case 0:
		fmt.Fprintf(&d.b, `<circle cx="%.1f" cy="%.1f" r="4" fill="%s"/>`, x, y, c)
	case 1:
		fmt.Fprintf(&d.b, `<path d="M%.1f %.1fh7v7h-7z" fill="%s"/>`, x-3.5, y-3.5, c)
	default:
		fmt.Fprintf(&d.b, `<path d="M%.1f %.1fl4.5 8h-9z" fill="%s"/>`, x, y-5, c)
	}
}

// key names a curve. Words grow to the right of their marks, so that a wide font
// runs into none.
func (d *drawing) key(i int, l line) {
	x, y := d.left+12, edge+10+18*float64(i)
	fmt.Fprintf(&d.b, `<path d="M%.1f %.1fh30" stroke="%s" stroke-width="1.9" stroke-dasharray="%s"/>`, x, y, inks[l.style%len(inks)], dashes[l.style%len(dashes)])
	d.mark(x+15, y, l.style)
	d.b.WriteString(`<g fill="` + ink + `">`)
	d.text(x+38, y+4, "start", l.name)
	d.b.WriteString("</g>")
}

// roundNumbers are four to nine numbers of an axis, 1, 2 or 5 apart, or a power of
// ten of that.
func roundNumbers(s span) (out []float64) {
	power := math.Pow(10, math.Floor(math.Log10((s.to-s.from)/4)))
	step := power
	for _, k := range []float64{2, 5} {
		if (s.to-s.from)/(k*power) >= 4 {
			step = k * power
		}
	}
	for i := math.Ceil(s.from / step); i*step <= s.to+step/1e6; i++ {
		out = append(out, i*step+0) // never -0
	}
	return out
}

// plainNumber is without needless digits, with the sign of minus.
func plainNumber(v float64) string {
	return strings.Replace(strconv.FormatFloat(math.Round(v*1e6)/1e6, 'g', 6, 64), "-", "−", 1)
}
