package watertemp

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// A river without a thermometer gets more than the lines of regional.go: a Gaussian
// process over what air and flow show of a river (kriging, as within a river in
// kriged.go; Rasmussen and Williams 2006, cited from memory) foretells by how much the
// water departs from those lines. Rivers alike share their departures; a river
// unlike all of them gets none and a larger error.

// The departure of a day is a sum of these, each with a factor, °C.
const (
	dOne = iota // always, and by the season
	dCos
	dSin
	dCos2
	dSin2
	dAir // per 3 °C that the past days' air is off its season
	dAirCos
	dAirSin
	dFlow // per unit of the logarithm of the past days' flow over its middle
	dFlowCos
	dFlowSin
	nDeparture
)

// departure are those factors, and what it takes to work the sum out.
type departure struct {
	factors [nDeparture]float64
	usual   [2]float64 // cosine and sine of the usual air of the past days
}

// terms are what the factors of a day multiply.
func (d *departure) terms(r *row) [nDeparture]float64 {
	cos, sin := r.x[fCos], r.x[fSin]
	air, flow := (r.x[fFast]-d.usual[0]*cos-d.usual[1]*sin)/3, r.flowFast
	return [nDeparture]float64{1, cos, sin, r.x[fCos2], r.x[fSin2], air, air * cos, air * sin, flow, flow * cos, flow * sin}
}

// at is the departure of a day, °C.
func (d *departure) at(r *row) float64 {
	sum, x := 0.0, d.terms(r)
	for i, f := range d.factors {
		sum += f * x[i]
	}
	return sum
}

// learntRiver is a river behind the table: what air and flow show of it, and its
// departure.
type learntRiver struct {
	site    string
	shown   [nShown]float64
	departs [nDeparture]float64
}

// The table has a line for each river. Test LearntTable prints it.
//
//go:embed learnt.csv
var learntCSV string

// learntRivers reads the table. One that does not fit the model is a mistake of the
// build, so it panics.
func learntRivers() []learntRiver {
	r := csv.NewReader(strings.NewReader(learntCSV))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 || len(rows[0]) != 1+nShown+nDeparture {
		panic(fmt.Sprintf("watertemp: learnt.csv does not have %d columns: %v", 1+nShown+nDeparture, err))
	}
	out := make([]learntRiver, len(rows)-1)
	for i, row := range rows[1:] {
		out[i].site = row[0]
		for j := range out[i].shown {
			out[i].shown[j] = coefficient("learnt.csv", row, 1+j)
		}
		for j := range out[i].departs {
			out[i].departs[j] = coefficient("learnt.csv", row, 1+nShown+j)
		}
	}
	return out
}

const (
	// alike is the distance between rivers, in spreads of what is shown of them, over
	// which they are alike. own is the share of a river's departure that no other river
	// shows, over that which they may. Chosen with groups of rivers left out; from 0.5
	// to 1.2 and from half to double the middle error moves by 0.03 °C (see RESULTS.md).
	alike, own = 0.8, 0.5
	// farDeparture bounds a river's departure, in spreads, so that one below a dam does
	// not speak for all.
	farDeparture = 2.5
)

// learner foretells departures.
type learner struct {
	rivers  []learntRiver
	columns int                // so many of what is shown are compared, the first ones
	scale   [nShown][2]float64 // their middle and spread
	root    mat.Cholesky       // of how alike the rivers are to each other
	middle  [nDeparture]float64
	weights *mat.Dense    // a row each river
	spread  *mat.SymDense // of a departure about what is foretold, over its variance
}

// learners are the learner for rivers whose drained area is known, and the one for the
// others. Each is made from the table when it is first asked for.
type learners struct{ sized, unsized func() *learner }

var learnt = learnersFrom(learntRivers)

func learnersFrom(rivers func() []learntRiver) learners {
	return learners{
		sized:   sync.OnceValue(func() *learner { return newLearner(rivers(), nShown) }),
		unsized: sync.OnceValue(func() *learner { return newLearner(rivers(), sArea) }),
	}
}

// of is the learner that compares all that is known of each of some rivers.
func (l learners) of(shown ...*[nShown]float64) *learner {
	for _, s := range shown {
		if unknown(s[sArea]) {
			return l.unsized()
		}
	}
	return l.sized()
}

func newLearner(rivers []learntRiver, columns int) *learner {
	rivers = slices.Clone(rivers)
	n := len(rivers)
	l := &learner{rivers: rivers, columns: columns, weights: &mat.Dense{}}
	column := make([]float64, n)
	for j := range columns {
		known := column[:0]
		for _, r := range rivers {
			if !unknown(r.shown[j]) {
				known = append(known, r.shown[j])
			}
		}
		l.scale[j][0], l.scale[j][1] = stat.MeanStdDev(known, nil)
	}
	for i := range rivers {
		rivers[i].shown = l.scaled(rivers[i].shown)
	}
	y := mat.NewDense(n, nDeparture, nil)
	for j := range nDeparture {
		for i, r := range rivers {
			column[i] = r.departs[j]
		}
		m, spread := stat.MeanStdDev(column, nil)
		l.middle[j] = m
		for i, v := range column {
			y.Set(i, j, min(max(v-m, -farDeparture*spread), farDeparture*spread))
		}
	}
	k := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i {
			k.SetSym(i, j, l.likeness(&rivers[i].shown, &rivers[j].shown))
		}
		k.SetSym(i, i, 1+own)
	}
	if !l.root.Factorize(k) || l.root.SolveTo(l.weights, y) != nil {
		panic("watertemp: the rivers of learnt.csv are too much alike")
	}
	// What each river departs from what the others foretell (leave-one-out in closed
	// form: Rasmussen and Williams 2006, 5.4.2, from memory).
	var inverse mat.SymDense
	_ = l.root.InverseTo(&inverse)
	l.spread = mat.NewSymDense(nDeparture, nil)
	for i := range n {
		l.spread.SymRankOne(l.spread, 1/inverse.At(i, i)/float64(n), l.weights.RowView(i))
	}
	return l
}

// scaled is what is shown of a river in spreads from the middle of all, within bounds; 0
// where it is unknown, as of a flow that never changes.
func (l *learner) scaled(shown [nShown]float64) [nShown]float64 {
	const far = 3
	for j, s := range l.scale[:l.columns] {
		if shown[j] = min(max((shown[j]-s[0])/s[1], -far), far); unknown(shown[j]) {
			shown[j] = 0
		}
	}
	return shown
}

// likeness of two rivers, 1 for the same: the Matérn function of 3/2.
func (l *learner) likeness(a, b *[nShown]float64) float64 {
	d := 0.0
	for i, v := range a[:l.columns] {
		d += (v - b[i]) * (v - b[i])
	}
	d = math.Sqrt(3*d/float64(l.columns)) / alike
	return (1 + d) * math.Exp(-d)
}

// foretell gives the factors of a river's departure and their variance over spread: own
// for a river in the midst of others, 1 + own for one unlike all of them.
func (l *learner) foretell(shown [nShown]float64) (factors [nDeparture]float64, variance float64) {
	shown = l.scaled(shown)
	k := mat.NewVecDense(len(l.rivers), nil)
	for i := range l.rivers {
		k.SetVec(i, l.likeness(&shown, &l.rivers[i].shown))
	}
	factors = l.middle
	var f mat.VecDense
	f.MulVec(l.weights.T(), k)
	floats.Add(factors[:], f.RawVector().Data)
	var known mat.VecDense
	_ = l.root.SolveVecTo(&known, k)
	return factors, own + max(0, 1-mat.Dot(k, &known))
}

// departureTerms is a departure of nothing at the model's place.
func (m *Model) departureTerms() departure {
	// What an exponential mean makes of the air's wave: constant factors of cosine and sine.
	w := twoPi / 365.25 * tauFast
	return departure{usual: [2]float64{(m.Air[1] - w*m.Air[2]) / (1 + w*w), (m.Air[2] + w*m.Air[1]) / (1 + w*w)}}
}

// rows are the features of a record's days and what the heat budget says of them, °C.
func (m *Model) rows(in Input) (rows []row, sim []float64) {
	air, flow := m.forcing(in.Day0, in.Air, in.Flow)
	k, mem := m.Params.rates(m.Air[0]), m.begin(in.Day0)
	t := max(0, m.Air.filtered(in.Day0-1, tauFast))
	rows, sim = make([]row, len(air)), make([]float64, len(air))
	for i, a := range air {
		q := 0.0
		if flow != nil {
			q = flow[i]
		}
		sin, cos := wave(in.Day0 + i)
		mem.day(&rows[i], m.Air[0], a, q, cos, sin)
		t = k.step(t, &rows[i])
		sim[i] = t
	}
	return rows, sim
}
