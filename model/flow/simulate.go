package flow

import (
	"math/rand/v2"
)

// Future is the weather of one member.
type Future struct {
	Air  []float64 // °C by day; NaN where unknown, nil if not known at all
	Rain []float64 // mm; likewise
	Like int       // the day, since 1970-01-01, of a past season whose weather the first day takes
}

// Forecast continues a history by days, one member per future, and returns daily mean
// flow in m3/s by member and day. What the model leaves unexplained is taken from a time
// near Like when the river stood like now, in the order in which it came. The same seed
// gives the same members. It returns nil where no flow is known in the last maxAge days
// of the history.
func (m *Model) Forecast(history Input, futures []Future, days int, seed uint64) [][]float64 {
	rows := m.members(history, nil, futures, days, seed)
	if rows == nil {
		return nil
	}
	last := len(history.Flow) - 1
	for unknown(m.log(history.Flow[last])) {
		last--
	}
	today := m.log(history.Flow[last]) - m.climate.at(history.Day0+last)
	m.correct(rows, history.Day0+len(history.Flow), today)
	for _, row := range rows {
		for d, y := range row {
			row[d] = m.flow(min(max(y, m.low), m.high))
		}
	}
	return rows
}

// spinup is how many days of the history are run before the issue: a year and a half,
// so that the snow of the last winter is there.
const spinup = 550

// maxAge is how old, in days, the last flow may be. Our own default: about as long as
// a recession tells of its start.
const maxAge = 30

// now is the state at the end of a history; ok is false if the flow is unknown. known is
// what issues of a longer history share; nil: nothing.
func (m *Model) now(history Input, known *past) (s state, p pack, ok bool) {
	n := len(history.Flow)
	from := max(0, n-spinup)
	var logs []float64
	if known != nil {
		logs = known.logs[from:n]
	} else {
		logs = make([]float64, n-from)
		for i, q := range history.Flow[from:] {
			logs[i] = m.log(q)
		}
	}
	last := len(logs) - 1
	for last >= 0 && unknown(logs[last]) {
		last--
	}
	if last < 0 || len(logs)-1-last >= maxAge {
		return s, p, false
	}
	var w []weather
	if known != nil {
		w, p = known.since(m, history, from, n)
	} else {
		w = make([]weather, n-from)
		for i := range w {
			w[i] = m.weatherOn(history, from+i, &p)
		}
	}
	return m.walk(history.Day0+from, w, logs, func(_ int, s *state, w *weather, _ bool) { s.takes(w) }), p, true
}

// members are rows of log flow before the correction of their spread. known is what the
// issues of a longer history share; nil: nothing.
func (m *Model) members(history Input, known *past, futures []Future, days int, seed uint64) [][]float64 {
	now, held, ok := m.now(history, known)
	if !ok {
		return nil
	}
	day := history.Day0 + len(history.Flow)
	climate, factors, normals := make([]float64, days), make([]dayFactors, days), make([]normal, days)
	for d := range climate {
		climate[d] = m.climate.at(day + d)
		factors[d], normals[d] = m.factorsOn(day+d), m.normalOn(day+d)
	}
	out, room := make([][]float64, len(futures)), make([]float64, len(futures)*days)
	again := repeats(futures)
	w := make([]weather, again*days)
	alike := m.analogues(&now, day)
	rng := rand.New(rand.NewPCG(seed, 20))
	for k := range futures {
		row := room[k*days : (k+1)*days : (k+1)*days]
		out[k] = row
		s, w := now, w[k%again*days:][:days]
		if k < again || again == 1 {
			p := held
			for d := range w {
				w[d] = m.weather(&normals[d], valueOn(futures[k].Air, d), valueOn(futures[k].Rain, d), &p)
			}
		}
		like := alike.draw(futures[k].Like, rng)
		for d := range row {
			x := s.x + m.drift(&s, &w[d], &factors[d]) + m.sizeOn(&s, &factors[d])*m.error(like+d, rng)
			s.takes(&w[d])
			x = min(max(x, m.low-climate[d]), m.high-climate[d])
			s.moved(x)
			row[d] = climate[d] + x
			if p, ok := m.path(like, d, now.x); ok {
				row[d] += (1 - mixOwn) * (p - x)
			}
		}
	}
	return out
}

// error is the standardized error of a day; where that is unknown, of a day of the
// same season in another year.
func (m *Model) error(day int, rng *rand.Rand) float64 {
	for try := range 20 {
		i := day - m.errorDay0
		if i >= 0 && i < len(m.errors) && !unknown(m.errors[i]) {
			return m.errors[i]
		}
		years := max(1, len(m.errors)/365)
		day = m.errorDay0 + mod(day-m.errorDay0, 365) + 365*rng.IntN(years) + rng.IntN(1+2*try) - try
	}
	return 0
}

func mod(a, b int) int { return ((a % b) + b) % b }

// mixOwn is the weight of the model's own path beside what the anomaly did after the
// day of the past; chosen on the gauges of the pool (RESULTS.md).
const mixOwn = 0.5

// path is what the anomaly did after a past day, moved by today's departure from that
// day as it dies away.
func (m *Model) path(like, d int, today float64) (float64, bool) {
	i := like - m.errorDay0
	if i < 1 || i+d >= len(m.past) || unknown(m.past[i-1]) || unknown(m.past[i+d]) {
		return 0, false
	}
	return m.past[i+d] + m.keeps[min(d, len(m.keeps)-1)]*(today-m.past[i-1]), true
}
