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

// Futures are possible futures of what drives the water: rows of days, from the
// day after a history on.
type Futures struct {
	Air    [][]float64 // °C
	flow   [][]float64 // logarithm of the flow over middle; nil where flow is not known
	middle float64     // m3/s
}

// Flow is a row of flow, m3/s; nil where flow is not known.
func (f *Futures) Flow(row int) []float64 {
	if f.flow == nil {
		return nil
	}
	out := make([]float64, len(f.flow[row]))
	for d, q := range f.flow[row] {
		out[d] = f.middle * math.Exp(q)
	}
	return out
}

// Traces builds possible futures of air and flow: n rows of so many days. A row is one member of the weather
// ensemble as far as that reaches, then the weather of one past season with its
// own day-to-day texture; at the seam the last departure from that season dies
// away, so that no jump shows. Where more rows are asked for than there are past
// seasons, seasons come again moved by some days, with the wave of the year
// taken from their new date. Flow is that of the same past season, moved by
// today's departure, which dies away over some weeks. ensemble may be empty. It
// returns nil if there is no past season to draw from.
//
// A few seasons are a sample: another draw from where n came from departs from
// them by 2/n of its variance more, on average, than they do from each other.
// A slow wandering of that size is added to each row.
func Traces(history Input, ensemble [][]float64, days, n int, seed uint64) *Futures {
	sources := pastSeasons(history, days)
	if len(sources) == 0 {
		return nil
	}
	rng := rand.New(rand.NewPCG(seed, 16))
	order := make([]source, 0, n)
	for _, shift := range shifts {
		for _, k := range rng.Perm(len(sources)) {
			order = append(order, source{sources[k], shift})
		}
	}
	total := len(history.Air)
	h := harmonicsOf(history.Day0, total+days)
	var m Model
	m.place(history)
	whole := bridged(history.Day0, history.Air, m.Air, airDies)
	logFlow := make([]float64, len(history.Flow))
	for i, q := range history.Flow {
		logFlow[i] = m.logRatio(q)
	}
	lastFlow := lastKnown(logFlow)
	f := &Futures{Air: make([][]float64, n), middle: m.MeanFlow}
	if m.MeanFlow > 0 {
		f.flow = make([][]float64, n)
		logFlow = bridged(history.Day0, logFlow, m.Flow, flowDies)
	}
	members := rng.Perm(max(1, len(ensemble)))
	few := math.Sqrt(2 / float64(len(sources)))
	airWander := few * slowSpread(whole, m.Air, h, wanderDays)
	flowWander := few * slowSpread(logFlow, m.Flow, h, 1)
	for k := range n {
		from := total - order[k%len(order)].back + order[k%len(order)].shift
		row := moved(whole, m.Air, h, from, total, days)
		jump, since, z := whole[total-1]-at(whole, m.Air, h, from-1, total-1), 0, 0.0
		var member []float64
		if len(ensemble) > 0 {
			member = ensemble[members[k%len(members)]]
		}
		for d := range row {
			if d < len(member) && !unknown(member[d]) {
				jump, since = member[d]-row[d], 0
				row[d] = member[d]
				continue
			}
			since++
			z = wander(z, airWander, rng)
			row[d] += jump*airKeeps[min(since, len(airKeeps)-1)] + z
		}
		f.Air[k] = row
		if f.flow == nil {
			continue
		}
		q := moved(logFlow, m.Flow, h, from, total, days)
		jump = 0
		if lastFlow >= 0 && total-1-lastFlow <= maxFlowAge {
			jump = logFlow[total-1] - at(logFlow, m.Flow, h, from-1, total-1)
		}
		z = 0
		for d := range q {
			z = wander(z, flowWander, rng)
			q[d] += jump*flowKeeps[min(d+1, len(flowKeeps)-1)] + z
		}
		f.flow[k] = q
	}
	return f
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

// moved is a span of a column put at another date: its departures from the wave
// of the year, on the wave at the new date.
func moved(v []float64, y year, h harmonics, from, to, days int) []float64 {
	out := make([]float64, days)
	for d := range out {
		out[d] = at(v, y, h, from+d, to+d)
	}
	return out
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
