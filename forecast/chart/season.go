package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"

	_ "embed"
)

// Style is what the parts need in the style sheet of a page. Colours come from
// the variables --ink, --paper, --grid, --faint, --up and --down, if it has them.
//
//go:embed style.css
var Style string

// Trace is one stage of one group over consecutive days: shares of a season's
// activity per day, all of one length.
type Trace struct {
	Low, Mid, High []float64 // 10, 50, 90 % point of the share
	Calendar       []float64 // the calendar-only share
	Observed       [][2]int  // past seasons' windows seen here, as first and last index
	Top            float64   // value that fills the height; 0: the greatest there is
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
	Note  string    // stands under the title of the whole picture
	Day0  time.Time // date of index 0
	Days  int
	Today int // index of the issue date, -1 for none
	Lines []Line
}

const (
	seasonWidth = 800
	nameWidth   = 240
	rowHeight   = 58
	headHeight  = 88
	// half is the height of the drawing above and below a waterline, in units of
	// its own grid; a day is one unit wide.
	half = 100
	// tol is how far a drawn line may lie off, in the same units.
	tol = 1.2
)

// seasonKey says how the whole picture is read.
const seasonKey = "Above each line: emergence; below: egg-laying. Darker = more certain. Dots: calendar only. Vertical line: issue date."

// SVG is the whole picture: each group has a waterline of its own. What emerges
// is drawn above it, since it leaves the water; what lays eggs is drawn below,
// since it comes back. The darker, the surer: the darkest is there in nine
// futures of ten, the palest in one. The dashed line is the calendar alone.
func (s Season) SVG() string {
	var b strings.Builder
	height := headHeight + rowHeight*len(s.Lines) + 8
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" font-family="Georgia, 'Times New Roman', serif"><title>%s</title><desc>%s</desc><style>%s</style><rect width="%d" height="%d" fill="#f8f5ec"/>`,
		seasonWidth, height, html.EscapeString(s.Title), html.EscapeString(s.describe()), Style, seasonWidth, height)
	const wide = seasonWidth - nameWidth - 10
	for i, words := range []string{s.Note, seasonKey} {
		fmt.Fprintf(&b, `<text class="tick small faint" x="8" y="%d">%s</text>`, 38+16*i, html.EscapeString(words))
	}
	fmt.Fprintf(&b, `<text class="tick" x="8" y="20" style="font-size:15px">%s</text>`, html.EscapeString(s.Title))
	fmt.Fprintf(&b, `<svg x="%d" y="%d" width="%d" height="30">%s</svg>`, nameWidth, headHeight-30, wide, s.ticks(18))
	for i, l := range s.Lines {
		y := headHeight + i*rowHeight
		fmt.Fprintf(&b, `<text class="tick" x="8" y="%d">%s</text><text class="tick faint small" x="8" y="%d">%s</text>`,
			y+rowHeight/2-3, html.EscapeString(l.Name), y+rowHeight/2+12, html.EscapeString(l.Note))
		fmt.Fprintf(&b, `<svg class="reach" x="%d" y="%d" width="%d" height="%d" viewBox="0 -%d %d %d" preserveAspectRatio="none">`, nameWidth, y, wide, rowHeight, half, s.Days-1, 2*half)
		s.drawing(&b, l)
		b.WriteString(`</svg>`)
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// Row is one group's waterline for a page, as wide as its place. It brings no
// text: the page says beside it what it shows.
func (s Season) Row(i int) string {
	var b strings.Builder
	l := s.Lines[i]
	fmt.Fprintf(&b, `<svg class="reach row" viewBox="0 -%d %d %d" preserveAspectRatio="none" role="img" aria-label="%s">`, half, s.Days-1, 2*half, html.EscapeString("Season of "+l.Name))
	s.drawing(&b, l)
	b.WriteString(`</svg>`)
	return b.String()
}

// Axis names the months over the rows of a page.
func (s Season) Axis() string {
	return `<svg class="reach axis" height="22" aria-hidden="true">` + s.ticks(15) + `</svg>`
}

// months lists the indices at which a month begins.
func (s Season) months() []int {
	var out []int
	for i := range s.Days {
		if s.Day0.AddDate(0, 0, i).Day() == 1 {
			out = append(out, i)
		}
	}
	return out
}

func (s Season) ticks(y int) string {
	var b strings.Builder
	for _, i := range s.months() {
		if s.Days-i > s.Days/16 {
			fmt.Fprintf(&b, `<text class="tick" x="%.1f%%" y="%d" dx="2">%s</text>`, 100*float64(i)/float64(s.Days-1), y, s.Day0.AddDate(0, 0, i).Format("Jan"))
		}
	}
	return b.String()
}

func (s Season) drawing(b *strings.Builder, l Line) {
	b.WriteString(`<path class="month" d="`)
	for _, i := range s.months() {
		fmt.Fprintf(b, "M%d-%dv%d", i, half, 2*half)
	}
	b.WriteString(`"/>`)
	for k, t := range []Trace{l.Emergence, l.EggLaying} {
		top := peak(t)
		if top == 0 {
			continue
		}
		class, sign := "up", -1.0
		if k == 1 {
			class, sign = "down", 1.0
		}
		muted := ""
		if l.Muted[k] {
			muted = " muted"
		}
		if t.Top > 0 {
			top = t.Top
		}
		scale := sign * (half - 14) / top
		fmt.Fprintf(b, `<g class="%s%s">`, class, muted)
		shape(b, "may", area(t.High, scale, tol))
		shape(b, "even", area(t.Mid, scale, tol))
		shape(b, "sure", area(t.Low, scale, tol))
		shape(b, "edge", stroke(t.Mid, scale, tol))
		b.WriteString(`</g>`)
		shape(b, "ghost", stroke(t.Calendar, scale, tol))
		for j, w := range t.Observed {
			y := int(sign) * (half - 4 - 5*(j%4))
			shape(b, "season-seen", fmt.Sprintf("M%d %dh%d", w[0], y, max(2, w[1]-w[0])))
		}
	}
	fmt.Fprintf(b, `<path class="surface" d="M0 0h%d"/>`, s.Days-1)
	if s.Today >= 0 && s.Today < s.Days {
		fmt.Fprintf(b, `<path class="today" d="M%d-%dv%d"/>`, s.Today, half, 2*half)
	}
}

func shape(b *strings.Builder, class, d string) {
	if d != "" {
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, d)
	}
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

func (s Season) describe() string {
	var parts []string
	for _, l := range s.Lines {
		parts = append(parts, l.Name+": "+l.Note)
	}
	return "One waterline per group: emergence above, egg-laying below. Dashed: calendar only. " + strings.Join(parts, ". ")
}
