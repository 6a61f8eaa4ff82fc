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
	place    Model     // the waves of the history's air and flow
	whole    []float64 // the history's air, °C, without gaps
	logFlow  []float64 // the logarithm of its flow over the place's, without gaps; nil if not known
	airOff   offset    // departures of whole and logFlow from their waves
	flowOff  offset
	jumpFlow bool // the last flow is new enough to say something of the coming weeks

	airWander, flowWander float64 // standard deviations
	rng                   *rand.Rand
	made                  int
}

// newFutures is nil if there is no past season to draw from. ensemble, °C, may be
// empty.
func newFutures(history Input, ensemble [][]float64, days, n int, seed uint64) *futures {
	sources := pastSeasons(history, days)
	if len(sources) == 0 {
		return nil
	}
	f := &futures{ensemble: ensemble, rng: rand.New(rand.NewPCG(seed, 16)), order: make([]source, 0, n)}
	for _, shift := range shifts {
		for _, k := range f.rng.Perm(len(sources)) {
			f.order = append(f.order, source{sources[k], shift})
		}
	}
	total := len(history.Air)
	h := harmonicsOf(history.Day0, total+days)
	logFlow := f.place.localize(history)
	f.whole = bridged(history.Day0, history.Air, f.place.Air, airDies)
	few := math.Sqrt(2 / float64(len(sources)))
	f.airOff = offsetOf(f.whole, f.place.Air, h)
	f.airWander = few * f.airOff.slowSpread(wanderDays)
	if logFlow != nil {
		last := lastKnown(logFlow)
		f.jumpFlow = last >= 0 && total-1-last <= maxFlowAge
		f.logFlow = bridged(history.Day0, logFlow, f.place.Flow, flowDies)
		f.flowOff = offsetOf(f.logFlow, f.place.Flow, h)
		f.flowWander = few * f.flowOff.slowSpread(1)
	}
	f.members = f.rng.Perm(max(1, len(ensemble)))
	return f
}

// next builds the next row: air, °C, and the logarithm of the flow over that of
// the place, nil where it is not known.
func (f *futures) next(air, flow []float64) {
	from, total := f.order[f.made%len(f.order)], len(f.whole)
	first := total - from.back + from.shift
	var member []float64
	if len(f.ensemble) > 0 {
		member = f.ensemble[f.members[f.made%len(f.members)]]
	}
	f.made++
	f.airOff.moved(air, first, total)
	jump, since, z := f.whole[total-1]-f.airOff.at(first-1, total-1), 0, 0.0
	for d := range air {
		if d < len(member) && !unknown(member[d]) {
			jump, since = member[d]-air[d], 0
			air[d] = member[d]
			continue
		}
		since++
		z = wander(z, f.airWander, f.rng)
		air[d] += jump*airKeeps[min(since, len(airKeeps)-1)] + z
	}
	if flow == nil {
		return
	}
	f.flowOff.moved(flow, first, total)
	jump = 0
	if f.jumpFlow {
		jump = f.logFlow[total-1] - f.flowOff.at(first-1, total-1)
	}
	z = 0
	for d := range flow {
		z = wander(z, f.flowWander, f.rng)
		flow[d] += jump*flowKeeps[min(d+1, len(flowKeeps)-1)] + z
	}
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

// offset is a column as its wave of the year and the departures from it. All rows of a
// forecast are made of the same ones.
type offset struct {
	departs []float64 // by day of the history
	wave    []float64 // by day of the history and of the days ahead
}

func offsetOf(v []float64, y year, h harmonics) offset {
	o := offset{make([]float64, len(v)), make([]float64, len(h.cos))}
	for i := range o.wave {
		o.wave[i] = y.at(h.cos[i], h.sin[i])
	}
	for i, a := range v {
		o.departs[i] = a - o.wave[i]
	}
	return o
}

// slowSpread is the standard deviation of the departures, averaged over the past so
// many days.
func (o *offset) slowSpread(over float64) float64 {
	if len(o.departs) == 0 {
		return 0
	}
	keep, mean, sum := math.Exp(-1/over), 0.0, 0.0
	for _, d := range o.departs {
		mean = d + keep*(mean-d)
		sum += mean * mean
	}
	if s := math.Sqrt(sum / float64(len(o.departs))); !math.IsNaN(s) {
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
func (o *offset) moved(out []float64, from, to int) {
	for d := range out {
		out[d] = o.at(from+d, to+d)
	}
}

// at is a single day of moved. Where the span would run into the future it goes
// on with the year before.
func (o *offset) at(i, to int) float64 {
	for i >= len(o.departs) {
		i -= 365
	}
	return o.departs[max(i, 0)] + o.wave[to]
}

func lastKnown(v []float64) int {
	for i, x := range slices.Backward(v) {
		if !unknown(x) {
			return i
		}
	}
	return -1
}
