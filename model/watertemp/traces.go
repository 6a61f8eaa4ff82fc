package watertemp

import (
	"math"
	"math/rand/v2"
	"slices"
)

// blendDays is how fast a departure from a past season's air dies away, days:
// about as weather does. recessionDays is the same for the flow.
const blendDays, recessionDays = 4.0, 25.0

// shifts are the days by which a past season is moved when more rows are asked
// for than there are seasons. A season come ten days early is as likely as one
// in time.
var shifts = []int{0, -5, 5, -10, 10, -3, 3, -8, 8}

// source is the same date of a past year, moved by some days.
type source struct{ back, shift int }

// futures builds possible futures of air and flow, one row of days after the
// other. A row is one member of the weather ensemble as far as that reaches, then
// the weather of one past season with its own day-to-day texture; at the seam the
// last departure from that season dies away, so that no jump shows. Where more
// rows are asked for than there are past seasons, seasons come again moved by some
// days, with the wave of the year taken from their new date. Flow is that of the
// same past season, moved by today's departure, which dies away over some weeks.
//
// A few seasons are a sample: another draw from where n came from departs from
// them by 2/n of its variance more, on average, than they do from each other.
// A slow wandering of that size is added to each row.
type futures struct {
	ensemble [][]float64
	members  []int // of the ensemble, in the order of their use
	order    []source
	place    Model // the waves of the history's air and flow
	h        harmonics
	whole    []float64 // the history's air, °C, without gaps
	logFlow  []float64 // the logarithm of its flow over the place's, without gaps; nil if not known
	jumpFlow bool      // the last flow is new enough to say something of the coming weeks

	airWander, flowWander float64 // standard deviations
	rng                   *rand.Rand
	made                  int
	air, flow             []float64 // the row at hand
}

// newFutures is nil if there is no past season to draw from. ensemble, °C, may be
// empty.
func newFutures(history Input, ensemble [][]float64, days, n int, seed uint64) *futures {
	sources := pastSeasons(history, days)
	if len(sources) == 0 {
		return nil
	}
	f := &futures{ensemble: ensemble, rng: rand.New(rand.NewPCG(seed, 16)), order: make([]source, 0, n), air: make([]float64, days)}
	for _, shift := range shifts {
		for _, k := range f.rng.Perm(len(sources)) {
			f.order = append(f.order, source{sources[k], shift})
		}
	}
	total := len(history.Air)
	f.h = harmonicsOf(history.Day0, total+days)
	logFlow := f.place.localize(history)
	f.whole = bridged(history.Day0, history.Air, f.place.Air, airDies)
	few := math.Sqrt(2 / float64(len(sources)))
	f.airWander = few * slowSpread(f.whole, f.place.Air, f.h, wanderDays)
	if logFlow != nil {
		last := lastKnown(logFlow)
		f.jumpFlow = last >= 0 && total-1-last <= maxFlowAge
		f.logFlow, f.flow = bridged(history.Day0, logFlow, f.place.Flow, flowDies), make([]float64, days)
		f.flowWander = few * slowSpread(f.logFlow, f.place.Flow, f.h, 1)
	}
	f.members = f.rng.Perm(max(1, len(ensemble)))
	return f
}

// next builds the next row: air, °C, and the logarithm of the flow over that of
// the place, nil where it is not known. Both are overwritten by the next call.
func (f *futures) next() (air, flow []float64) {
	from, total := f.order[f.made%len(f.order)], len(f.whole)
	first := total - from.back + from.shift
	var member []float64
	if len(f.ensemble) > 0 {
		member = f.ensemble[f.members[f.made%len(f.members)]]
	}
	f.made++
	moved(f.air, f.whole, f.place.Air, f.h, first, total)
	jump, since, z := f.whole[total-1]-at(f.whole, f.place.Air, f.h, first-1, total-1), 0, 0.0
	for d := range f.air {
		if d < len(member) && !unknown(member[d]) {
			jump, since = member[d]-f.air[d], 0
			f.air[d] = member[d]
			continue
		}
		since++
		z = wander(z, f.airWander, f.rng)
		f.air[d] += jump*airKeeps[min(since, len(airKeeps)-1)] + z
	}
	if f.flow == nil {
		return f.air, nil
	}
	moved(f.flow, f.logFlow, f.place.Flow, f.h, first, total)
	jump = 0
	if f.jumpFlow {
		jump = f.logFlow[total-1] - at(f.logFlow, f.place.Flow, f.h, first-1, total-1)
	}
	z = 0
	for d := range f.flow {
		z = wander(z, f.flowWander, f.rng)
		f.flow[d] += jump*flowKeeps[min(d+1, len(flowKeeps)-1)] + z
	}
	return f.air, f.flow
}

// wanderDays is how long what few seasons do not show lasts: weeks, as the slow
// part of the weather does.
const wanderDays = 25.0

var keepWander, newWander = math.Exp(-1 / wanderDays), math.Sqrt(1 - math.Exp(-2/wanderDays))

// airKeeps and flowKeeps are what is left of a departure after so many days, as
// far as anything is.
var airKeeps, flowKeeps = keeps(blendDays), keeps(recessionDays)

func keeps(dies float64) (k [1000]float64) {
	for d := range k {
		k[d] = math.Exp(-float64(d) / dies)
	}
	return k
}

// wander moves a first order autoregressive process of a standard deviation on by
// a day.
func wander(z, sd float64, rng *rand.Rand) float64 {
	return keepWander*z + newWander*sd*rng.NormFloat64()
}

// slowSpread is the standard deviation of a column's departures from its wave,
// averaged over the past so many days.
func slowSpread(v []float64, y year, h harmonics, over float64) float64 {
	if len(v) == 0 {
		return 0
	}
	keep, mean, sum := math.Exp(-1/over), 0.0, 0.0
	for i, a := range v {
		d := a - y.at(h.cos[i], h.sin[i])
		mean = d + keep*(mean-d)
		sum += mean * mean
	}
	if s := math.Sqrt(sum / float64(len(v))); !math.IsNaN(s) {
		return s
	}
	return 0 // gaps: no flow is used
}

// maxFlowAge is how old, in days, the last reading of the flow may be to say
// anything of the coming weeks.
const maxFlowAge = 30

// pastSeasons lists how many days back the same date lies in each past year
// whose weather is mostly known.
func pastSeasons(history Input, days int) (back []int) {
	total := len(history.Air)
	for k := 1; ; k++ {
		b := int(math.Round(365.25 * float64(k)))
		if b > total {
			return back
		}
		known := 0
		for d := range days {
			if i := total - b + d; i < total && !unknown(history.Air[i]) {
				known++
			}
		}
		if float64(known) > 0.7*float64(min(days, b)) {
			back = append(back, b)
		}
	}
}

// moved fills out with a span of a column put at another date: its departures
// from the wave of the year, on the wave at the new date.
func moved(out, v []float64, y year, h harmonics, from, to int) {
	for d := range out {
		out[d] = at(v, y, h, from+d, to+d)
	}
}

// at is a single day of moved. Where the span would run into the future it goes
// on with the year before.
func at(v []float64, y year, h harmonics, i, to int) float64 {
	for i >= len(v) {
		i -= 365
	}
	i = max(i, 0)
	return v[i] - y.at(h.cos[i], h.sin[i]) + y.at(h.cos[to], h.sin[to])
}

func lastKnown(v []float64) int {
	for i, x := range slices.Backward(v) {
		if !unknown(x) {
			return i
		}
	}
	return -1
}
