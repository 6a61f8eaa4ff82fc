package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"
)

// Water is a year of water temperature, °C, day by day. NaN leaves a gap.
type Water struct {
	Title          string
	Day0           time.Time
	Low, Mid, High []float64 // the band: 10, 50, 90 % point
	Observed       []float64
	Normal         []float64 // mean of past seasons
	Today          int
	Fahrenheit     bool // also label the axis in °F
}

// SVG draws the observed line, the forecast band and the normal of past
// seasons.
func (w Water) SVG() string {
	const width, height, left, bottom, top = 720, 260, 46, 28, 18
	n := max(len(w.Mid), len(w.Observed))
	hi := 1.0
	for _, c := range [][]float64{w.High, w.Observed, w.Normal} {
		for _, v := range c {
			if !math.IsNaN(v) {
				hi = math.Max(hi, v)
			}
		}
	}
	hi = math.Ceil(hi/5) * 5
	x := func(i int) float64 { return left + float64(i)/float64(max(1, n-1))*(width-left-10) }
	y := func(v float64) float64 { return top + (hi-v)/hi*(height-top-bottom) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" class="waterchart" font-family="Georgia, 'Times New Roman', serif">`, width, height)
	fmt.Fprintf(&b, `<title>%s</title>`, html.EscapeString(w.Title))
	b.WriteString(`<style>.ink{fill:var(--ink,#1d2b2a)}.grid{stroke:var(--grid,#d6d3c8);stroke-width:.6}.band{fill:var(--up,#3f6b5c);opacity:.22}` +
		`.mid{fill:none;stroke:var(--up,#3f6b5c);stroke-width:1.4;stroke-dasharray:5 2}.seenline{fill:none;stroke:var(--ink,#1d2b2a);stroke-width:1.3}` +
		`.ghost{fill:none;stroke:var(--ink,#1d2b2a);stroke-width:.9;stroke-dasharray:2 3}.today{stroke:var(--ink,#1d2b2a);stroke-width:1.2;stroke-dasharray:1 3}</style>`)
	for v := 0.0; v <= hi; v += 5 {
		label := fmt.Sprintf("%.0f °C", v)
		if w.Fahrenheit {
			label = fmt.Sprintf("%.0f °F", v*9/5+32)
		}
		fmt.Fprintf(&b, `<line class="grid" x1="%d" y1="%.1f" x2="%d" y2="%.1f"/><text class="ink" font-size="10" x="%d" y="%.1f" text-anchor="end">%s</text>`,
			left, y(v), width-10, y(v), left-5, y(v)+3, label)
	}
	for i := range n {
		if d := w.Day0.AddDate(0, 0, i); d.Day() == 1 {
			fmt.Fprintf(&b, `<line class="grid" x1="%.1f" y1="%d" x2="%.1f" y2="%d"/><text class="ink" font-size="10" x="%.1f" y="%d">%s</text>`,
				x(i), top, x(i), height-bottom, x(i)+2, height-bottom+13, d.Format("Jan"))
		}
	}
	band := strings.Builder{}
	open := false
	for i := range w.High {
		if math.IsNaN(w.High[i]) {
			continue
		}
		c := 'L'
		if !open {
			c, open = 'M', true
		}
		fmt.Fprintf(&band, "%c%.1f %.1f", c, x(i), y(w.High[i]))
	}
	for i := len(w.Low) - 1; i >= 0; i-- {
		if !math.IsNaN(w.Low[i]) {
			fmt.Fprintf(&band, "L%.1f %.1f", x(i), y(w.Low[i]))
		}
	}
	if open {
		fmt.Fprintf(&b, `<path class="band" d="%sZ"/>`, band.String())
	}
	fmt.Fprintf(&b, `<path class="ghost" d="%s"/><path class="mid" d="%s"/><path class="seenline" d="%s"/>`,
		polyline(w.Normal, x, y), polyline(w.Mid, x, y), polyline(w.Observed, x, y))
	if w.Today >= 0 && w.Today < n {
		fmt.Fprintf(&b, `<line class="today" x1="%.1f" y1="%d" x2="%.1f" y2="%d"/>`, x(w.Today), top, x(w.Today), height-bottom)
	}
	fmt.Fprintf(&b, `<text class="ink" font-size="10" x="%d" y="11">solid: measured; long dashes and band: forecast, central 80 %%; dots: mean of past seasons</text></svg>`, left)
	return b.String()
}

func polyline(v []float64, x func(int) float64, y func(float64) float64) string {
	var b strings.Builder
	pen := 'M'
	for i, t := range v {
		if math.IsNaN(t) {
			pen = 'M'
			continue
		}
		fmt.Fprintf(&b, "%c%.1f %.1f", pen, x(i), y(t))
		pen = 'L'
	}
	return b.String()
}
