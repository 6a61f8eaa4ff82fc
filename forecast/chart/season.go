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
// the variables --ink, --paper, --grid, --faint, --up, --down, --upmid and
// --downmid, if it has them.
//
//go:embed style.css
var Style string

// Trace is one stage of one group over consecutive days. All its columns have
// one length.
type Trace struct {
	Chance   []float64 // of a record on the day, 0..1
	Calendar []float64 // the same by the calendar alone
	Best     [3]int    // index of the peak: 10, 50, 90 % point; all the same where it is not uncertain
	Seen     [][2]int  // windows seen here in past seasons, as first and last index
}

// Line is one group: what rises from the water and what comes back to it.
type Line struct {
	Name      string
	Note      string // what the drawing shows, in words
	Emergence Trace
	EggLaying Trace
	Muted     [2]bool // emergence, egg-laying not fishable
}

// Season is the picture of a river's season: each group has a waterline of its
// own. What emerges is drawn above it, since it leaves the water; what lays eggs
// is drawn below, since it comes back. From the line to the edge is 100 %
// everywhere.
type Season struct {
	Title string
	Note  string    // stands under the title of the whole picture
	Day0  time.Time // date of index 0
	Days  int
	Today int      // index of the issue date, -1 for none
	Boxes [][2]int // days that stand in a box on every line, as first and last index
	Lines []Line
}

const (
	seasonWidth = 1000
	nameWidth   = 250
	rowHeight   = 58
	headHeight  = 66
	axisHeight  = 40
	// axisEvery is after how many rows the months are named again.
	axisEvery = 10
	// half is the height of the drawing above and below a waterline, in units of
	// its own grid: 100 %. A day is one unit wide.
	half = 100
	// tol is how far a drawn line may lie off, in the same units.
	tol = 1.2
)

// SeasonKey says how the whole picture is read.
const SeasonKey = "Height: the chance on a day; from the line to the edge is 100%, faint lines are 50%. Above: emergence. Below: egg-laying. Dashes: calendar only. Bar: where the peak may shift (80% range)."

// SVG is the whole picture as a file of its own.
func (s Season) SVG() string {
	var b strings.Builder
	heads := max(1, (len(s.Lines)+axisEvery-1)/axisEvery)
	height := headHeight + rowHeight*len(s.Lines) + axisHeight*heads + 8
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]d" height="%[2]d" viewBox="0 0 %[1]d %[2]d" role="img" font-family="Georgia, 'Times New Roman', serif"><title>%[3]s</title><desc>%[4]s</desc><style>%[5]s</style><rect width="%[1]d" height="%[2]d" fill="#f8f5ec"/>`,
		seasonWidth, height, html.EscapeString(s.Title), html.EscapeString(s.describe()), Style)
	fmt.Fprintf(&b, `<text class="tick" x="8" y="22" style="font-size:17px">%s</text>`, html.EscapeString(s.Title))
	for i, words := range []string{s.Note, SeasonKey} {
		fmt.Fprintf(&b, `<text class="tick small faint" x="8" y="%d">%s</text>`, 40+16*i, html.EscapeString(words))
	}
	const wide = seasonWidth - nameWidth - 10
	y := headHeight
	for i, l := range s.Lines {
		if i%axisEvery == 0 {
			fmt.Fprintf(&b, `<svg x="%d" y="%d" width="%d" height="%d" overflow="visible">%s</svg>`, nameWidth, y, wide, axisHeight, s.ticks())
			y += axisHeight
		}
		fmt.Fprintf(&b, `<text class="tick" x="8" y="%d">%s</text><text class="tick faint small" x="8" y="%d">%s</text>`,
			y+rowHeight/2-3, html.EscapeString(l.Name), y+rowHeight/2+12, html.EscapeString(l.Note))
		fmt.Fprintf(&b, `<svg class="reach" x="%d" y="%d" width="%d" height="%d" viewBox="0 -%d %d %d" preserveAspectRatio="none">`, nameWidth, y, wide, rowHeight, half, s.Days-1, 2*half)
		s.drawing(&b, l)
		b.WriteString(`</svg>`)
		if i%axisEvery == 0 {
			fmt.Fprintf(&b, `<text class="tick small faint" text-anchor="end" x="%d" y="%d">50%%</text>`, nameWidth-4, y+rowHeight/4+4)
		}
		y += rowHeight
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// Row is one group's waterline for a page, as wide and high as its place.
func (s Season) Row(i int) string {
	var b strings.Builder
	l := s.Lines[i]
	fmt.Fprintf(&b, `<svg class="reach row" viewBox="0 -%d %d %d" preserveAspectRatio="none" role="img" aria-label="%s">`, half, s.Days-1, 2*half, html.EscapeString(l.Name+": "+l.Note))
	s.drawing(&b, l)
	b.WriteString(`</svg>`)
	return b.String()
}

// Axis names the months over the rows of a page, and over them today.
func (s Season) Axis() string {
	return fmt.Sprintf(`<svg class="reach axis" height="%d" aria-hidden="true">%s</svg>`, axisHeight, s.ticks())
}

// on lists the indices of a day of the month.
func (s Season) on(day int) []int {
	var out []int
	for i := range s.Days {
		if s.Day0.AddDate(0, 0, i).Day() == day {
			out = append(out, i)
		}
	}
	return out
}

func (s Season) months() []int { return s.on(1) }

// x is where an index lies, in percent of the width.
func (s Season) x(i int) float64 { return 100 * float64(i) / float64(max(1, s.Days-1)) }

func (s Season) ticks() string {
	var b strings.Builder
	for _, i := range s.months() {
		fmt.Fprintf(&b, `<line class="tickmark" x1="%[1]g%%" x2="%[1]g%%" y1="26" y2="40"/>`, round1(s.x(i)))
		if s.Days-i > s.Days/16 {
			fmt.Fprintf(&b, `<text class="tick" x="%g%%" y="36" dx="4">%s</text>`, round1(s.x(i)), s.Day0.AddDate(0, 0, i).Format("Jan"))
		}
	}
	for _, i := range s.on(15) {
		fmt.Fprintf(&b, `<line class="tickmark" x1="%[1]g%%" x2="%[1]g%%" y1="34" y2="40"/>`, round1(s.x(i)))
	}
	if s.Today >= 0 && s.Today < s.Days {
		anchor, dx := "start", 5
		if s.x(s.Today) > 70 {
			anchor, dx = "end", -5
		}
		fmt.Fprintf(&b, `<line class="today" x1="%[1]g%%" x2="%[1]g%%" y1="2" y2="22"/><text class="tick now" text-anchor="%[2]s" x="%[1]g%%" y="13" dx="%[3]d">today, %[4]s</text>`,
			round1(s.x(s.Today)), anchor, dx, s.Day0.AddDate(0, 0, s.Today).Format("2 Jan"))
	}
	return b.String()
}

func round1(v float64) float64 { return float64(int(v*10+0.5)) / 10 }

func (s Season) drawing(b *strings.Builder, l Line) {
	for _, x := range s.Boxes {
		fmt.Fprintf(b, `<rect class="boxed" x="%d" y="-%d" width="%d" height="%d"/>`, x[0], half, x[1]-x[0], 2*half)
	}
	b.WriteString(`<path class="month" d="`)
	for _, i := range s.months() {
		fmt.Fprintf(b, "M%d-%dv%d", i, half, 2*half)
	}
	fmt.Fprintf(b, `M0-%[1]dh%[2]dM0 %[1]dh%[2]d"/>`, half/2, s.Days-1)
	for k, t := range []Trace{l.Emergence, l.EggLaying} {
		class, sign := "up", -1.0
		if k == 1 {
			class, sign = "down", 1.0
		}
		muted := ""
		if l.Muted[k] {
			muted = " muted"
		}
		if d := area(t.Chance, sign*half, tol); d != "" {
			fmt.Fprintf(b, `<path class="%s swell%s" d="%s"/>`, class, muted, d)
		}
		shape(b, "ghost", stroke(t.Calendar, sign*half, tol))
		if t.Best[2] > t.Best[0] && t.Best[2] >= 0 && t.Best[0] < s.Days && !l.Muted[k] {
			y := int(sign * math.Min(half-6, half*greatest(t.Chance)+12))
			from, to := max(0, t.Best[0]), min(s.Days-1, t.Best[2])
			fmt.Fprintf(b, `<path class="shift" d="M%d %dH%d`, from, y, to)
			if m := t.Best[1]; m >= 0 && m < s.Days {
				fmt.Fprintf(b, "M%d %dv%d", m, y-5, 10)
			}
			b.WriteString(`"/>`)
		}
		for j, w := range t.Seen {
			y := int(sign) * (half - 14 - 6*(j%4))
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

func (s Season) describe() string {
	var parts []string
	for _, l := range s.Lines {
		parts = append(parts, l.Name+": "+l.Note)
	}
	return SeasonKey + " " + strings.Join(parts, ". ")
}
