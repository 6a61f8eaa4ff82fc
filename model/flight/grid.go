package flight

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// grid is the posterior over the median's mode and the two flanks of a two-piece
// normal curve (Gibbons & Mylroie 1973), a normal curve whose flanks differ.
type grid struct {
	book   Book
	effort *Effort
	all    float64 // sum of the effort
	mode   []int
	sd     [2][]float64         // of the flanks, days
	bell   [2][][]float64       // by flank and length: exp(-k²/2sd²) at k days
	flank  map[int][2][]float64 // by mode: effort times activity of each flank and length
	like   [foldsOf][]float64   // log-likelihood of each fold's records, mode by left by right
	weight []float64            // posterior, in the same order
}

func newGrid(book Book, effort *Effort) *grid {
	g := &grid{book: book, effort: effort, flank: map[int][2][]float64{}}
	for _, e := range effort {
		g.all += e
	}
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

// seen are the records of one day at places where the season is so many days late.
type seen struct {
	day, late, fold int
	n               float64
}

// seen gathers records, which are in order of days, by day and place. Folds are seasons where there are enough
// of them: records of one season hang together.
func (g *grid) seen(records []Record, perDegree, per100M float64) []seen {
	var years []int
	for _, r := range records {
		if r.Year != 0 {
			years = append(years, r.Year)
		}
	}
	slices.Sort(years)
	years = slices.Compact(years)
	at := map[seen]int{}
	var out []seen
	for i, r := range records {
		if r.Day < 1 || r.Day > Year {
			continue
		}
		late := math.Max(-farthest, math.Min(farthest, r.North*perDegree+r.Up*per100M))
		x := seen{day: r.Day, late: int(math.Round(late)), fold: i % foldsOf}
		if k, ok := slices.BinarySearch(years, r.Year); ok && len(years) >= foldsOf {
			x.fold = k % foldsOf
		}
		k, ok := at[x]
		if !ok {
			k = len(out)
			at[x] = k
			out = append(out, x)
		}
		out[k].n++
	}
	return out
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

// active is the effort times the activity of a curve over the year.
func (g *grid) active(mode, l, r int) float64 {
	f, ok := g.flank[mode]
	if !ok {
		f = [2][]float64{make([]float64, levels), make([]float64, levels)}
		for d, e := range g.effort {
			k, side := d+1-mode, 1
			if k < 0 {
				k, side = -k, 0
			}
			for i := range levels {
				f[side][i] += e * g.bell[side][i][min(k, Year-1)]
			}
		}
		g.flank[mode] = f
	}
	return f[0][l] + f[1][r]
}

// logLike is the log-likelihood of records under a curve: each day is drawn in
// proportion to effort and activity, or, if it is wrong, to effort alone.
func (g *grid) logLike(records []seen, mode, l, r int) float64 {
	sum, product := 0.0, 1.0 // so that one logarithm serves for many records
	share, late := 0.0, math.MinInt
	for k := range records {
		x := &records[k]
		if x.late != late {
			late = x.late
			active := g.active(mode+late, l, r)
			if active <= 0 {
				return math.Inf(-1)
			}
			share = (1 - wrong) / active
		}
		p := share*g.curve(x.day, mode+late, l, r) + wrong/g.all
		if x.n > 4 {
			sum += x.n * math.Log(p)
			continue
		}
		for range int(x.n) {
			product *= p
		}
		if product < 1e-200 {
			sum += math.Log(product)
			product = 1
		}
	}
	return sum + math.Log(product)
}

// fit sets the likelihoods and the posterior.
func (g *grid) fit(records []seen) {
	sort.SliceStable(records, func(i, j int) bool {
		a, b := records[i], records[j]
		return cmp.Or(a.fold-b.fold, a.late-b.late) < 0
	})
	var folds [foldsOf][]seen
	for _, x := range records {
		folds[x.fold] = append(folds[x.fold], x)
	}
	for f := range g.like {
		g.like[f] = make([]float64, g.size())
	}
	g.weight = make([]float64, g.size())
	top := math.Inf(-1)
	g.each(func(i, mode, l, r int, prior float64) {
		g.weight[i] = prior
		for f := range g.like {
			g.like[f][i] = g.logLike(folds[f], mode, l, r)
			g.weight[i] += g.like[f][i]
		}
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

// likeliest is about the likeliest curve of the grid: every third mode and every
// second length are looked at.
func (g *grid) likeliest(records []seen) (mode, left, right int) {
	top := math.Inf(-1)
	g.each(func(i, m, l, r int, prior float64) {
		if i/(levels*levels)%3 > 0 || l%2 > 0 || r%2 > 0 {
			return
		}
		if p := prior + g.logLike(records, m, l, r); p > top {
			top, mode, left, right = p, m, l, r
		}
	})
	return mode, left, right
}

// best is the likeliest curve without one fold's records.
func (g *grid) best(without int) (at int) {
	top := math.Inf(-1)
	g.each(func(i, _, _, _ int, prior float64) {
		for f := range g.like {
			if f != without {
				prior += g.like[f][i]
			}
		}
		if prior > top {
			top, at = prior, i
		}
	})
	return at
}

// gain is by how much records that were held out are likelier under the window
// fitted to the others than under the book's, log-likelihood.
func (g *grid) gain() float64 {
	middle := levels / 2
	book := (widest*levels+middle)*levels + middle
	sum := 0.0
	for f := range g.like {
		sum += g.like[f][g.best(f)] - g.like[f][book]
	}
	return sum
}

// slope is what is thought of a slope before any record.
func (g *grid) slope(days float64) Slope {
	return Slope{days, math.Max(leastPer, slopeSD*math.Abs(days))}
}

// fitSlopes works out by how much the season is later towards the pole and uphill,
// at the likeliest curve.
func (g *grid) fitSlopes(records []Record, perDegree, per100M Slope) (north, up Slope) {
	mode, l, r := g.likeliest(g.seen(records, perDegree.Days, per100M.Days))
	var weights [slopes * slopes]float64
	z := func(i int) float64 { return 2.5 * (2*float64(i)/(slopes-1) - 1) }
	top := math.Inf(-1)
	for i := range slopes {
		for k := range slopes {
			w := -(z(i)*z(i) + z(k)*z(k)) / 2
			w += g.logLike(g.seen(records, perDegree.Days+z(i)*perDegree.SDDays, per100M.Days+z(k)*per100M.SDDays), mode, l, r)
			weights[i*slopes+k] = w
			top = math.Max(top, w)
		}
	}
	var sum, n, nn, u, uu float64
	for i := range slopes {
		for k := range slopes {
			w := math.Exp(weights[i*slopes+k] - top)
			sum += w
			n, nn = n+w*z(i), nn+w*z(i)*z(i)
			u, uu = u+w*z(k), uu+w*z(k)*z(k)
		}
	}
	const step = 5.0 / (slopes - 1) // what lies between two slopes tried stays open
	of := func(s Slope, first, second float64) Slope {
		mean := first / sum
		return Slope{s.Days + mean*s.SDDays, s.SDDays * math.Sqrt(math.Max(step*step/12, second/sum-mean*mean))}
	}
	return of(perDegree, n, nn), of(per100M, u, uu)
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
