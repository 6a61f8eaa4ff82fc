package flow

import (
	"math"
	"slices"

	"example.org/eclose/model/elementary"
)

// Fit fits a river to its history under the pooled prior. The error is a
// *TooLittleError where the history is too short.
func Fit(in Input) (*Model, error) { return FitUnder(in, &pooled) }

// FitUnder is Fit under another prior.
func FitUnder(in Input, prior *Prior) (*Model, error) {
	m, err := fitPlain(in, prior, lapses)
	if err != nil {
		return nil, err
	}
	m.correctFrom(leaveOut(in, prior, m.lapse), prior)
	return m, nil
}

// fitPlain is a fit with the corrections of the prior, for the best of some lapses.
func fitPlain(in Input, prior *Prior, lapses []float64) (*Model, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	m := &Model{corrections: prior.Corrections}
	var values []float64
	for _, q := range in.Flow {
		if !unknown(q) && q >= 0 {
			values = append(values, q)
		}
	}
	m.Days, m.Years = len(values), float64(len(values))/365.25
	if len(values) < minDays {
		return nil, &TooLittleError{len(values), minDays}
	}
	slices.Sort(values)
	m.offset = offsetShare*mean(values) + 1e-6
	logs := make([]float64, len(in.Flow))
	for i, q := range in.Flow {
		logs[i] = m.log(q)
	}
	m.low, m.high = math.Log(values[0]+m.offset)-boundLog, math.Log(values[len(values)-1]+m.offset)+boundLog
	m.climate = fitWave(in.Day0, logs)
	m.Air, m.Rain = known(in.Air) >= minDays, known(in.Rain) >= minDays
	f := fitting{m: m, in: in, logs: logs, prior: prior}
	if !m.Air {
		f.tryLapse(0)
		f.learnTraits()
		return m, nil
	}
	m.airWave = fitWave(in.Day0, in.Air)
	best, least := 0.0, math.Inf(1)
	for _, l := range lapses {
		if cost := f.tryLapse(l); cost < least {
			best, least = l, cost
		}
	}
	if best != m.lapse {
		f.tryLapse(best)
	}
	f.learnTraits()
	return m, nil
}

// offsetShare of the mean flow is added before the logarithm: flows below it are as
// good as none. boundLog is how far beyond the record, in logarithms, a member may go.
// Our own defaults.
const offsetShare, boundLog = 0.002, 0.7

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

func known(v []float64) int {
	n := 0
	for _, x := range v {
		if !unknown(x) {
			n++
		}
	}
	return n
}

// fitting is a fit at work.
type fitting struct {
	m     *Model
	in    Input
	logs  []float64
	prior *Prior

	weather                  []weather // of every day
	f                        [][numFeatures]float64
	g                        [][numSizes]float64
	y                        []float64 // change of the anomaly to the day; NaN where unknown
	traits                   []trait
	fresh                    []bool           // the flow of the day before is known
	equations, sizeEquations *normalEquations // of the last round
}

// tryLapse fits the factors with the snow so much colder than the gauge and returns
// the cost.
func (f *fitting) tryLapse(lapse float64) float64 {
	m := f.m
	m.lapse = lapse
	f.climateOfWeather()
	f.rows()
	weight := make([]float64, len(f.y))
	for i := range weight {
		weight[i] = 1
	}
	cost := 0.0
	for range 3 {
		cost = f.round(weight)
	}
	return cost
}

// climateOfWeather learns the climatologies of melt, pack and rain.
func (f *fitting) climateOfWeather() {
	m, n := f.m, len(f.logs)
	f.weather = make([]weather, n)
	if !m.Air && !m.Rain {
		return
	}
	m.meltWave, m.snowWave, m.rainWave = wave{}, wave{}, wave{}
	w := f.weather
	var p pack
	for i := range w {
		w[i] = m.weatherOn(f.in, i, &p)
	}
	melt, snow, rain := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range w {
		melt[i], snow[i], rain[i] = w[i].melt, w[i].snow, w[i].rain
	}
	m.meltWave, m.snowWave, m.rainWave = fitWave(f.in.Day0, melt), fitWave(f.in.Day0, snow), fitWave(f.in.Day0, rain)
	for i := range w { // what weather gives from now on
		day := f.in.Day0 + i
		if m.Air {
			w[i].melt -= m.meltWave.at(day)
			w[i].snow -= m.snowWave.at(day)
		}
		if m.Rain && !unknown(f.in.Rain[i]) {
			w[i].rain -= m.rainWave.at(day)
		}
	}
}

// rows works out the features of every day of which the flow and that of the day
// before are known.
func (f *fitting) rows() {
	m, n := f.m, len(f.logs)
	f.f, f.g, f.y = make([][numFeatures]float64, n), make([][numSizes]float64, n), make([]float64, n)
	f.traits, f.fresh = make([]trait, n), make([]bool, n)
	m.walk(f.in.Day0, f.weather, f.logs, func(i int, s *state, w *weather, fresh bool) {
		f.traits[i], f.fresh[i] = s.trait(), fresh
		a := seasonOf(f.in.Day0 + i)
		s.sizes(&f.g[i], a[0], a[1])
		before := s.x
		s.features(&f.f[i], w, a[0], a[1])
		f.y[i] = math.NaN()
		if fresh && !unknown(f.logs[i]) {
			f.y[i] = f.logs[i] - m.climate.at(f.in.Day0+i) - before
		}
	})
}

// walk runs the state through a history of weather and log flow. visit must take the
// day's weather into the state, which features does; fresh tells that the flow of the day
// before was known.
func (m *Model) walk(day0 int, w []weather, logs []float64, visit func(i int, s *state, w *weather, fresh bool)) state {
	first := slices.IndexFunc(logs, func(y float64) bool { return !unknown(y) })
	s := state{}
	if first >= 0 {
		s = start(logs[first] - m.climate.at(day0+first))
	}
	fresh := false
	for i, y := range logs {
		visit(i, &s, &w[i], fresh)
		x := s.mean25 + keep10*(s.x-s.mean25) // an unknown day drifts towards the month
		if !unknown(y) {
			x = y - m.climate.at(day0+i)
		} else {
			x *= keep25
		}
		s.moved(x)
		fresh = !unknown(y)
	}
	return s
}

// round fits factors, sizes and errors once with weights by day, which it updates,
// and returns the cost: the log of the mean square standardized error plus that of
// the sizes.
func (f *fitting) round(weight []float64) float64 {
	m := f.m
	eq := newNormal(numFeatures)
	f.factorEquations(eq, weight)
	b, _ := eq.solve(f.prior.Factors[:], f.prior.precision())
	copy(m.factors[:], b)
	sizes := newNormal(numSizes)
	rest := make([]float64, len(f.y))
	for i, y := range f.y {
		rest[i] = math.NaN()
		if !unknown(y) {
			rest[i] = y - dot(&m.factors, &f.f[i])
			sizes.add(f.g[i][:], elementary.Log(math.Abs(rest[i])+sizeFloor), 1)
		}
	}
	c, _ := sizes.solve(f.prior.Sizes[:], f.prior.sizePrecision())
	copy(m.sizes[:], c)
	m.errorDay0, m.errors = f.in.Day0, rest
	cost, n := 0.0, 0.0
	for i, e := range rest {
		if unknown(e) {
			continue
		}
		s := m.size(&f.g[i])
		rest[i] = e / s
		weight[i] = weightUnit * weightUnit / (s * s)
		cost += elementary.Log(math.Abs(e) + sizeFloor)
		n++
	}
	f.equations, f.sizeEquations = eq, sizes
	return cost / max(n, 1)
}

// factorEquations adds the known days, each with its weight.
func (f *fitting) factorEquations(to *normalEquations, weight []float64) {
	var rows [4]*[numFeatures]float64
	var ys, ws [4]float64
	n := 0
	for i, y := range f.y {
		if unknown(y) {
			continue
		}
		rows[n], ys[n], ws[n] = &f.f[i], y, weight[i]
		if n++; n == len(rows) {
			to.addFour(&rows, &ys, &ws)
			n = 0
		}
	}
	for k := range n {
		to.add(rows[k][:], ys[k], ws[k])
	}
}

// sizeFloor is the error, in log flow, below which a gauge's rounding hides all.
// weightUnit is a usual error, which makes weights and the prior comparable.
const sizeFloor, weightUnit = 0.01, 0.08

// size is the standard size of a day's error in log flow.
func (m *Model) size(g *[numSizes]float64) float64 {
	s := 0.0
	for k, c := range m.sizes {
		s += c * g[k]
	}
	return elementary.Exp(min(max(s, logSizeLeast), logSizeMost))
}

var logSizeLeast, logSizeMost = math.Log(0.004), math.Log(1.5)

func dot(b, f *[numFeatures]float64) float64 {
	s := 0.0
	for k, x := range f {
		s += b[k] * x
	}
	return s
}
