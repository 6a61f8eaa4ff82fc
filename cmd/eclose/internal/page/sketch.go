package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
	"example.org/eclose/model/wading"
)

// spot is a gauge on the sketch.
type spot struct {
	Name, Status string
	Lat, Lon     float64
	First        bool // the first choice of the next two weeks
}

// The sketch, in pixels of its own. Beyond sketchMost gauges no sketch is drawn:
// their names would touch. Our own.
const (
	sketchWide, sketchHigh = 380, 290
	sketchMost             = 8
	letterWide             = 8.5 // of a name, on average
	kmPerMile              = 1.609344
)

// apartKm returns the great-circle distance between two gauges, km.
func apartKm(a, b spot) float64 { return ingest.DistanceKm(a.Lat, a.Lon, b.Lat, b.Lon) }

// distance is one in the reader's unit.
func distance(km float64, u wading.Units) string {
	v, unit := km, "km"
	if u == wading.US {
		v, unit = km/kmPerMile, "mi"
	}
	if v < 10 {
		return fmt.Sprintf("%.1f %s", v, unit)
	}
	return fmt.Sprintf("%.0f %s", v, unit)
}

// sketch draws where gauges lie to each other, from their coordinates alone;
// empty for one gauge or too many.
func sketch(spots []spot, u wading.Units) template.HTML {
	if len(spots) < 2 || len(spots) > sketchMost {
		return ""
	}
	// A plane at their middle: fine for a day's drive.
	var lat0, lon0 float64
	for _, s := range spots {
		lat0, lon0 = lat0+s.Lat/float64(len(spots)), lon0+s.Lon/float64(len(spots))
	}
	type at struct{ x, y float64 }
	pts := make([]at, len(spots))
	lo, hi := at{math.Inf(1), math.Inf(1)}, at{math.Inf(-1), math.Inf(-1)}
	for i, s := range spots {
		p := at{math.Mod(s.Lon-lon0+540, 360) - 180, lat0 - s.Lat}
		p.x *= math.Cos(lat0*math.Pi/180) * 111.2
		p.y *= 111.2
		pts[i] = p
		lo, hi = at{min(lo.x, p.x), min(lo.y, p.y)}, at{max(hi.x, p.x), max(hi.y, p.y)}
	}
	const side, head, foot = 95, 34, 62
	scale := min((sketchWide-2*side)/max(hi.x-lo.x, 0.1), (sketchHigh-head-foot)/max(hi.y-lo.y, 0.1), 60)
	offX := (sketchWide - scale*(hi.x-lo.x)) / 2
	for i := range pts {
		pts[i] = at{offX + scale*(pts[i].x-lo.x), head + scale*(pts[i].y-lo.y)}
	}
	var b strings.Builder
	var say []string
	for _, s := range spots {
		say = append(say, fmt.Sprintf("%s at latitude %.2f, longitude %.2f", s.Name, s.Lat, s.Lon))
	}
	fmt.Fprintf(&b, `<svg class="map" viewBox="0 0 %d %d" role="img" aria-label="%s">`, sketchWide, sketchHigh, template.HTMLEscapeString("Where the gauges lie to each other: "+strings.Join(say, "; ")+"."))
	for _, w := range ways(spots) {
		p, q := pts[w[0]], pts[w[1]]
		fmt.Fprintf(&b, `<path class="way" d="M%.0f %.0fL%.0f %.0f"/>`, p.x, p.y, q.x, q.y)
		if math.Hypot(p.x-q.x, p.y-q.y) > 70 {
			fmt.Fprintf(&b, `<text class="mapnote" text-anchor="middle" x="%.0f" y="%.0f">%s</text>`, (p.x+q.x)/2, (p.y+q.y)/2+4, distance(apartKm(spots[w[0]], spots[w[1]]), u))
		}
	}
	for i, s := range spots {
		p := pts[i]
		ring := ""
		if s.First {
			ring = fmt.Sprintf(`<circle class="ring" cx="%.0f" cy="%.0f" r="15"/>`, p.x, p.y)
		}
		fmt.Fprintf(&b, `%[1]s<path class="up" d="M%.0[2]f %.0[3]fq7-13 14 0z"/><path class="down" d="M%.0[2]f %.0[3]fq7 13 14 0z"/><path class="surface" d="M%.0[4]f %.0[3]fh22"/>`, ring, p.x-7, p.y, p.x-11)
		anchor, x, room := "start", p.x+19, sketchWide-(p.x+19)
		if p.x < sketchWide/2 {
			anchor, x, room = "end", p.x-19, p.x-19
		}
		fmt.Fprintf(&b, `<text class="mapname" text-anchor="%s" x="%.0f" y="%.0f">%s</text>`, anchor, x, p.y+4, template.HTMLEscapeString(forecast.Truncate(s.Name, int(room/letterWide))))
		for k, line := range strings.Split(s.Status, "\n") {
			if line != "" {
				fmt.Fprintf(&b, `<text class="mapnote" text-anchor="%s" x="%.0f" y="%.0f">%s</text>`, anchor, x, p.y+22+17*float64(k), template.HTMLEscapeString(line))
			}
		}
	}
	bar := barOf(scale, u)
	fmt.Fprintf(&b, `<path class="ink" d="M10 %[1]dv6h%.0[2]fv-6"/><text class="mapnote" x="%.0[3]f" y="%[4]d">%[5]s</text>`, sketchHigh-14, bar*scale, 18+bar*scale, sketchHigh-7, distance(bar, u))
	fmt.Fprintf(&b, `<path class="ink" d="M%[1]d 30V8m-4 6l4-7 4 7"/><text class="mapnote" text-anchor="middle" x="%[1]d" y="45">N</text></svg>`, sketchWide-16)
	return template.HTML(b.String()) //nolint:gosec // numbers and escaped names
}

// ways joins all gauges by the shortest lines there are: one less than gauges.
func ways(spots []spot) [][2]int {
	var out [][2]int
	joined := map[int]bool{0: true}
	for len(joined) < len(spots) {
		best, way := math.Inf(1), [2]int{}
		for i := range spots {
			for j := range spots {
				if d := apartKm(spots[i], spots[j]); joined[i] && !joined[j] && d < best {
					best, way = d, [2]int{i, j}
				}
			}
		}
		if math.IsInf(best, 1) { // a coordinate that is no number
			return out
		}
		joined[way[1]] = true
		out = append(out, way)
	}
	return out
}

// barOf is a round length of the scale bar, km, about 70 pixels long.
func barOf(scale float64, u wading.Units) float64 {
	unit := 1.0
	if u == wading.US {
		unit = kmPerMile
	}
	best := unit
	for _, v := range []float64{0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000} {
		if v*unit*scale <= 90 {
			best = v * unit
		}
	}
	return best
}
