package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// Coverage shows month by month how many days of series have a reading: a bar
// for each month, as high as the share of its days, so that no colour is
// needed to read it.
type Coverage struct{ Rows []CoverageRow }

// CoverageRow is one series. Months begin with January of FirstYear and hold
// shares of 0 to 1, NaN for a month outside the series.
type CoverageRow struct {
	Name      string
	FirstYear int
	Months    []float64
}

// Sizes in pixels. A month is three wide at least, so that seventy years fit a
// wide page by scrolling, and wider where there are few years. The line below
// the bars must fit as well.
const (
	coverBar, coverRow    = 24, 58
	coverLeft, coverTop   = 8, 30
	coverPage, coverLine  = 960, 520
	coverLeast, coverMost = 3, 12
)

// SVG draws it.
func (c Coverage) SVG() string {
	first, last := math.MaxInt, math.MinInt
	for _, r := range c.Rows {
		first, last = min(first, r.FirstYear), max(last, r.FirstYear+(len(r.Months)+11)/12)
	}
	if len(c.Rows) == 0 {
		first, last = 0, 0
	}
	month := min(coverMost, max(coverLeast, coverPage/max(1, 12*(last-first))))
	width := max(2*coverLeft+(last-first)*12*month, coverLine)
	height := coverTop + len(c.Rows)*coverRow + 30
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" role="img" font-family="sans-serif" font-size="11">`, width, height, width, height)
	fmt.Fprintf(&b, `<title>Days with a reading, %d series</title><rect width="%d" height="%d" fill="#fff"/>`, len(c.Rows), width, height)
	every := 1
	if last-first > 12 {
		every = 5
	}
	for y := first; y < last; y++ {
		if y%every == 0 {
			x := coverLeft + (y-first)*12*month
			fmt.Fprintf(&b, `<text x="%d" y="18" fill="#333">%d</text><path d="M%d 22V%d" stroke="#ccc"/>`, x, y, x, height-30)
		}
	}
	for i, r := range c.Rows {
		foot := coverTop + i*coverRow + 20 + coverBar
		fmt.Fprintf(&b, `<text x="%d" y="%d" fill="#111" stroke="#fff" stroke-width="3" paint-order="stroke">%s</text>`, coverLeft, foot-coverBar-5, html.EscapeString(r.Name))
		left := coverLeft + (r.FirstYear-first)*12*month
		var path strings.Builder
		from, to := -1, 0
		for m, share := range r.Months {
			if math.IsNaN(share) {
				continue
			}
			if from < 0 {
				from = m
			}
			to = m + 1
			if h := int(math.Ceil(share * coverBar)); h > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv%dh-%dz", left+m*month, foot, month, -h, month)
			}
		}
		if from >= 0 {
			fmt.Fprintf(&b, `<rect x="%d" y="%d" width="%d" height="%d" fill="#eee"/>`, left+from*month, foot-coverBar, (to-from)*month, coverBar)
		}
		fmt.Fprintf(&b, `<path d="%s" fill="#24527a"/>`, path.String())
	}
	fmt.Fprintf(&b, `<text x="%d" y="%d" fill="#333">Full bar: every day of the month has a reading that passed quality control. Grey: none.</text></svg>`, coverLeft, height-10)
	return b.String()
}
