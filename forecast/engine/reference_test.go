package engine

import (
	"math"
	"slices"
)

// reference computes what doc.go says, word by word, with no thought of speed:
// every day of every member, math.Erfc and math.Exp, sorting.
func reference(in *River) []GroupResult {
	out := make([]GroupResult, len(in.Groups))
	for k, g := range in.Groups {
		for twin := range 2 {
			calendarOnly := twin == 1
			p := [stages][]float64{make([]float64, in.Days), make([]float64, in.Days)}
			var when [stages][3][]int
			shares := [stages][]float64{}
			for m := range in.Members {
				e, l := referenceMember(in, &g, m, calendarOnly)
				for s, a := range [stages][]float64{e, l} {
					rate := g.Rate[m]
					if Stage(s) == EggLaying {
						rate = g.RateEggs[m]
					}
					shares[s] = append(shares[s], a...)
					var total float64
					for d := range a {
						p[s][d] += 1 - math.Exp(-rate*a[d])
						if g.Least > 1 {
							p[s][d] -= few(rate*a[d], g.Least)
						}
						total += a[d]
					}
					if total < leastSeason {
						continue
					}
					for q, share := range []float64{0.1, 0.5, 0.9} {
						var sum float64
						for d := range a {
							if sum += a[d]; sum >= share*total {
								when[s][q] = append(when[s][q], d)
								break
							}
						}
					}
				}
			}
			for s := range p {
				for d := range p[s] {
					p[s][d] /= float64(in.Members)
				}
				w := Window{referenceRange(when[s][0]), referenceRange(when[s][1]), referenceRange(when[s][2]), len(when[s][1])}
				if calendarOnly {
					out[k][s].PCalendar, out[k][s].WindowCalendar = p[s], w
					out[k][s].ActivityCalendar = make([]float64, in.Days)
					for i, a := range shares[s] {
						out[k][s].ActivityCalendar[i%in.Days] += a / float64(in.Members)
					}
				} else {
					out[k][s].P, out[k][s].Window = p[s], w
					for d := range in.Days {
						var v []float64
						for m := range in.Members {
							v = append(v, shares[s][m*in.Days+d])
						}
						slices.Sort(v)
						for q, tenths := range []int{1, 5, 9} {
							out[k][s].Activity[q] = append(out[k][s].Activity[q], v[(tenths*len(v)+9)/10-1])
						}
					}
				}
			}
		}
	}
	return out
}

func referenceMember(in *River, g *Group, m int, calendarOnly bool) (e, l []float64) {
	t := in.TempC[m*in.Days : (m+1)*in.Days]
	tT := math.Inf(1)
	var sum float64
	for d := max(0, g.Clock.Start); d < in.Days; d++ {
		rate := math.Min(math.Max(float64(t[d]), g.Clock.BaseC), g.Clock.UpperC) - g.Clock.BaseC
		if sum+rate >= g.DD50[m] {
			tT = float64(d) + (g.DD50[m]-sum)/rate
			break
		}
		sum += rate
		if d == in.Days-1 && rate > 0 {
			tT = float64(in.Days) + (g.DD50[m]-sum)/rate
		}
	}
	t50 := g.Calendar[m]
	if w := g.Weight[m]; w > 0 && !calendarOnly {
		t50 = w*math.Min(tT, outOfReach) + (1-w)*t50
	}
	cdf := func(d int) float64 {
		return 0.5 * math.Erfc(-(float64(d)+1-t50)/g.SpreadDays[m]/math.Sqrt2)
	}
	e, l = make([]float64, in.Days), make([]float64, in.Days)
	for d := range e {
		e[d] = cdf(d) - cdf(d-1)
		if !calendarOnly {
			e[d] *= g.Gate.Open(float64(t[d]))
		}
	}
	for d := range l {
		for back := g.LagMin; back <= g.LagMax; back++ {
			if d-back >= 0 {
				l[d] += e[d-back] / float64(g.LagMax-g.LagMin+1)
			}
		}
	}
	return e, l
}

// few is the Poisson chance of 1 to least-1 records.
func few(expected float64, least int) float64 {
	p, term := 0.0, math.Exp(-expected)
	for j := 1; j < least; j++ {
		term *= expected / float64(j)
		p += term
	}
	return p
}

func referenceRange(days []int) Range {
	if len(days) == 0 {
		return Range{NoDay, NoDay, NoDay}
	}
	slices.Sort(days)
	at := func(tenths int) int { return days[(tenths*len(days)+9)/10-1] }
	return Range{at(1), at(5), at(9)}
}
