package flight

import (
	"math"
	"slices"
)

// Book is a window of the literature, in days of the season-year.
type Book struct {
	Start, Median, End float64 // 5, 50 and 95 % of the season
	MedianSD           float64 // how far the median may be off, days
}

// Range is the 10, 50 and 90 % points of what is known of a day.
type Range struct{ Low, Mid, High float64 }

// Width of the 80 % interval, days.
func (i Range) Width() float64 { return i.High - i.Low }

// Window is a season as the records tell it.
type Window struct {
	Records            int
	Start, Median, End Range   // days by which 5, 50 and 95 % of the activity have passed
	Gain               float64 // log-likelihood of a held-out record above the book's
	Replaces           bool    // the records' window may stand in place of the book's
}

// Our own defaults.
const (
	wrong    = 0.03 // share of records of another insect or date
	fewest   = 30   // records below which the book stays
	foldsOf  = 4    // every fourth record is held out to judge the rest
	widest   = 45   // how far the median may lie from the book's, days
	spreadSD = 0.5  // of the logarithm of a flank's length around the book's
	leastSD  = 12.0 // of the median around the book's, days
	levels   = 13   // lengths that are tried for each flank
	z90      = 1.6449
)

// grid is the posterior over the median's mode and the two flanks of a two-piece
// normal curve (Gibbons & Mylroie 1973), a normal curve whose flanks differ.
type grid struct {
	book   Book
	effort *Effort
	mode   []int
	sd     [2][]float64   // of the flanks, days
	bell   [2][][]float64 // by flank and length: exp(-k²/2sd²) at k days
	weight []float64      // posterior, mode by left by right
}

func newGrid(book Book, effort *Effort) *grid {
	g := &grid{book: book, effort: effort}
	middle := int(math.Round(book.Median))
	for m := middle - widest; m <= middle+widest; m++ {
		g.mode = append(g.mode, m)
	}
	for side, length := range [2]float64{book.Median - book.Start, book.End - book.Median} {
		usual := math.Max(2, length/z90)
		for i := range levels {
			sd := usual * math.Exp(2*spreadSD*(float64(i)/float64(levels-1)*2-1))
			bell := make([]float64, Year)
			for k := range bell {
				bell[k] = math.Exp(-float64(k*k) / (2 * sd * sd))
			}
			g.sd[side], g.bell[side] = append(g.sd[side], sd), append(g.bell[side], bell)
		}
	}
	return g
}

// each calls do with every curve of the grid and its log prior.
func (g *grid) each(do func(i int, mode int, left, right int, prior float64)) {
	i := 0
	sd := math.Max(leastSD, g.book.MedianSD)
	for _, mode := range g.mode {
		off := (float64(mode) - g.book.Median) / sd
		for l := range levels {
			for r := range levels {
				a := (float64(l)/float64(levels-1)*2 - 1) * 2
				b := (float64(r)/float64(levels-1)*2 - 1) * 2
				do(i, mode, l, r, -off*off/2-a*a/2-b*b/2)
				i++
			}
		}
	}
}

func (g *grid) size() int { return len(g.mode) * levels * levels }

// curve is the activity of a curve on a day (1 first).
func (g *grid) curve(day, mode, l, r int) float64 {
	if k := day - mode; k >= 0 {
		return g.bell[1][r][min(k, Year-1)]
	} else {
		return g.bell[0][l][min(-k, Year-1)]
	}
}

// logLike is the log-likelihood of records under a curve: each day is drawn in
// proportion to effort and activity, or, if it is wrong, to effort alone.
func (g *grid) logLike(counts *[Year]float64, mode, l, r int) float64 {
	active, all := 0.0, 0.0
	for d, e := range g.effort {
		active += e * g.curve(d+1, mode, l, r)
		all += e
	}
	if active <= 0 {
		return math.Inf(-1)
	}
	sum := 0.0
	for d, n := range counts {
		if n > 0 {
			sum += n * math.Log((1-wrong)*g.curve(d+1, mode, l, r)/active+wrong/all)
		}
	}
	return sum
}

// fit sets the posterior.
func (g *grid) fit(counts *[Year]float64) {
	g.weight = make([]float64, g.size())
	top := math.Inf(-1)
	g.each(func(i, mode, l, r int, prior float64) {
		g.weight[i] = prior + g.logLike(counts, mode, l, r)
		top = math.Max(top, g.weight[i])
	})
	sum := 0.0
	for i, w := range g.weight {
		g.weight[i] = math.Exp(w - top)
		sum += g.weight[i]
	}
	for i := range g.weight {
		g.weight[i] /= sum
	}
}

// quantile is the day by which a share of a two-piece normal curve has passed.
func quantile(mode, left, right, share float64) float64 {
	if at := left / (left + right); share < at {
		return mode + left*normal(share/(2*at))
	} else {
		return mode + right*normal(0.5+(share-at)/(2*(1-at)))
	}
}

func normal(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// interval returns the 10, 50 and 90 % points of a quantile of the curve.
func (g *grid) interval(share float64) Range {
	type point struct{ day, weight float64 }
	var all []point
	g.each(func(i, mode, l, r int, _ float64) {
		if g.weight[i] > 1e-9 {
			all = append(all, point{quantile(float64(mode), g.sd[0][l], g.sd[1][r], share), g.weight[i]})
		}
	})
	slices.SortFunc(all, func(a, b point) int {
		if a.day < b.day {
			return -1
		}
		return 1
	})
	var out Range
	sum := 0.0
	for i, p := range all {
		before := sum
		sum += p.weight
		for _, q := range []struct {
			share float64
			to    *float64
		}{{0.1, &out.Low}, {0.5, &out.Mid}, {0.9, &out.High}} {
			if before < q.share && sum >= q.share {
				*q.to = p.day
				if i > 0 && p.weight > 0 { // between two points of the grid
					*q.to = all[i-1].day + (p.day-all[i-1].day)*(q.share-before)/p.weight
				}
			}
		}
	}
	return out
}

// Fit works out a season from the days of its records (1 is the first day of the
// season-year). Few records leave the book's window, which is the prior.
func Fit(days []int, effort Effort, book Book) Window {
	g := newGrid(book, &effort)
	all := countDays(days)
	g.fit(&all)
	w := Window{Records: len(days), Start: g.interval(0.05), Median: g.interval(0.5), End: g.interval(0.95)}
	if len(days) < fewest {
		return w
	}
	w.Gain = g.gain(days)
	sd := math.Max(1, book.MedianSD)
	w.Replaces = w.Gain > 0 && w.Median.Width() < 2*1.2816*sd
	return w
}

func countDays(days []int) (out [Year]float64) {
	for _, d := range days {
		if d >= 1 && d <= Year {
			out[d-1]++
		}
	}
	return out
}

// gain is by how much a record that was held out is likelier under the window
// fitted to the others than under the book's, mean log-likelihood.
func (g *grid) gain(days []int) float64 {
	days = slices.Sorted(slices.Values(days)) // folds that all span the season
	book := newGrid(g.book, g.effort)
	sum := 0.0
	for f := range foldsOf {
		var fitted, held []int
		for i, d := range days {
			if i%foldsOf == f {
				held = append(held, d)
			} else {
				fitted = append(fitted, d)
			}
		}
		in, out := countDays(fitted), countDays(held)
		g.fit(&in)
		best, at := -1.0, [3]int{}
		g.each(func(i, mode, l, r int, _ float64) {
			if g.weight[i] > best {
				best, at = g.weight[i], [3]int{mode, l, r}
			}
		})
		middle := levels / 2
		sum += g.logLike(&out, at[0], at[1], at[2]) - book.logLike(&out, int(math.Round(g.book.Median)), middle, middle)
	}
	return sum / float64(len(days))
}
