package chart

import (
	"math"
	"slices"
	"strconv"
)

// point is a place on the grid of a picture.
type point struct{ x, y int }

// thin leaves out the points of a line that lie within tol of the line through
// its neighbours (Ramer, Douglas, Peucker), since pages are read over thin
// networks.
func thin(p []point, tol float64) []point {
	if len(p) < 3 {
		return p
	}
	a, b := p[0], p[len(p)-1]
	far, at := 0.0, 0
	for i := 1; i < len(p)-1; i++ {
		y := float64(a.y)
		if b.x != a.x {
			y += float64(b.y-a.y) * float64(p[i].x-a.x) / float64(b.x-a.x)
		}
		if d := math.Abs(float64(p[i].y) - y); d > far {
			far, at = d, i
		}
	}
	if far <= tol {
		return []point{a, b}
	}
	left := thin(p[:at+1], tol)
	return append(slices.Clip(left), thin(p[at:], tol)[1:]...)
}

// pen writes the shortest path data that draws what it is told.
type pen struct {
	b  []byte
	at point
}

func (w *pen) move(p point) {
	w.b = append(w.b, 'M')
	w.b = strconv.AppendInt(w.b, int64(p.x), 10)
	w.number(p.y)
	w.at = p
}

func (w *pen) line(ps []point) {
	open := false
	for _, p := range ps {
		dx, dy := p.x-w.at.x, p.y-w.at.y
		if dx == 0 && dy == 0 {
			continue
		}
		if !open {
			w.b = append(w.b, 'l')
			w.b = strconv.AppendInt(w.b, int64(dx), 10)
			open = true
		} else {
			w.number(dx)
		}
		w.number(dy)
		w.at = p
	}
}

// number appends one that follows another: a minus parts them by itself.
func (w *pen) number(v int) {
	if v >= 0 {
		w.b = append(w.b, ' ')
	}
	w.b = strconv.AppendInt(w.b, int64(v), 10)
}

// area is the closed shape between y = 0 and the values over first to last.
func area(v []float64, scale, tol float64) string {
	first, last := extent(v)
	if first < 0 {
		return ""
	}
	ps := points(v, first, last, scale)
	var w pen
	w.move(point{first, 0})
	w.line(thin(ps, tol))
	w.line([]point{{last, 0}})
	w.b = append(w.b, 'z')
	return string(w.b)
}

// stroke is the open line along the values.
func stroke(v []float64, scale, tol float64) string {
	first, last := extent(v)
	if first < 0 {
		return ""
	}
	ps := thin(points(v, first, last, scale), tol)
	var w pen
	w.move(ps[0])
	w.line(ps[1:])
	return string(w.b)
}

func points(v []float64, first, last int, scale float64) []point {
	ps := make([]point, 0, last-first+1)
	for i := first; i <= last; i++ {
		ps = append(ps, point{i, int(math.Round(scale * v[i]))})
	}
	return ps
}

// extent is the first and last index where v is worth drawing.
func extent(v []float64) (first, last int) {
	top := 0.0
	for _, x := range v {
		top = math.Max(top, x)
	}
	first, last = -1, -1
	for i, x := range v {
		if x > top*0.008 && x > 0 {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	return first, last
}
