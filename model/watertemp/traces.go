package watertemp

import (
	"math"
	"math/rand/v2"
)

// blendDays is the width of the seam between a weather forecast and a past
// season's weather: over it the forecast's departure from the trace dies away.
const blendDays = 5.0

// Traces builds possible futures of air and flow: n rows of days each, from
// the day after the history on. A row is one member of the weather ensemble as
// far as that reaches, then the weather of one past season, whole and with its
// own texture; past the seam the ensemble's last departure dies away, so that
// no jump shows. Flow is that of the same past season, moved by today's
// departure, which dies away over some weeks. ensemble may be empty. It
// returns nil rows if there is no past season to draw from.
func Traces(history Input, ensemble [][]float64, days, n int, seed uint64) (air, flow [][]float64) {
	total := len(history.Air)
	var offsets []int // days back to the same date of a past year
	for k := 1; ; k++ {
		back := int(math.Round(365.25 * float64(k)))
		if back > total {
			break
		}
		known := 0
		for d := range days {
			if i := total - back + d; i < total && !math.IsNaN(history.Air[i]) {
				known++
			}
		}
		if float64(known) > 0.7*float64(min(days, back)) {
			offsets = append(offsets, back)
		}
	}
	if len(offsets) == 0 {
		return nil, nil
	}
	whole := bridged(history.Air)
	rng := rand.New(rand.NewPCG(seed, 16))
	order := rng.Perm(len(offsets))
	air, flow = make([][]float64, n), make([][]float64, n)
	for m := range n {
		back := offsets[order[m%len(offsets)]]
		air[m] = whole2(whole, total-back, days)
		if len(ensemble) > 0 {
			e := ensemble[m%len(ensemble)]
			reach := min(len(e), days)
			if reach > 0 {
				jump := e[reach-1] - air[m][reach-1]
				copy(air[m], e[:reach])
				for d := reach; d < days; d++ {
					air[m][d] += jump * math.Exp(-float64(d-reach+1)/blendDays)
				}
			}
		}
		flow[m] = flowTrace(history, total-back, days)
	}
	return air, flow
}

// whole2 is a past season's column; where it would run into the future it goes
// on with the year before.
func whole2(v []float64, from, days int) []float64 {
	out := make([]float64, days)
	for d := range out {
		i := from + d
		for i >= len(v) {
			i -= 365
		}
		out[d] = v[i]
	}
	return out
}

// recessionDays is how long a departure of the flow from a past season's lasts.
const recessionDays = 25.0

func flowTrace(history Input, from, days int) []float64 {
	out := make([]float64, days)
	if history.Flow == nil {
		for d := range out {
			out[d] = math.NaN()
		}
		return out
	}
	now, then := math.NaN(), math.NaN()
	for back := 1; back <= 10 && back <= len(history.Flow); back++ {
		if q := history.Flow[len(history.Flow)-back]; q > 0 && math.IsNaN(now) {
			now = q
		}
		if i := from - back; i >= 0 && history.Flow[i] > 0 && math.IsNaN(then) {
			then = history.Flow[i]
		}
	}
	ratio := 0.0
	if now > 0 && then > 0 {
		ratio = math.Log(now / then)
	}
	for d := range out {
		i := from + d
		for i >= len(history.Flow) {
			i -= 365
		}
		out[d] = history.Flow[i] * math.Exp(ratio*math.Exp(-float64(d+1)/recessionDays))
	}
	return out
}
