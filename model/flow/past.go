package flow

// A past is what the issues of one history share: its log flow and weather by day.
type past struct {
	logs    []float64
	weather []weather
	packs   []pack // at the end of each day
}

func (m *Model) pastOf(in Input) *past {
	p := &past{make([]float64, len(in.Flow)), make([]weather, len(in.Flow)), make([]pack, len(in.Flow))}
	var snow pack
	for i, q := range in.Flow {
		p.logs[i] = m.log(q)
		p.weather[i] = m.weatherOn(in, i, &snow)
		p.packs[i] = snow
	}
	return p
}

// weatherOn is weather of the i-th day of a history.
func (m *Model) weatherOn(in Input, i int, p *pack) weather {
	n := m.normalOn(in.Day0 + i)
	return m.weather(&n, valueOn(in.Air, i), valueOn(in.Rain, i), p)
}

// since returns the weather of the days from one to another and the pack at their end,
// as if there had been no snow before: from the day on which the pack is what it was in
// the whole history, at the latest when all of it has melted, both are the same.
func (p *past) since(m *Model, in Input, from, to int) ([]weather, pack) {
	w := make([]weather, to-from)
	var snow pack
	for i := from; i < to; i++ {
		w[i-from] = m.weatherOn(in, i, &snow)
		if snow == p.packs[i] {
			copy(w[i+1-from:], p.weather[i+1:to])
			return w, p.packs[to-1]
		}
	}
	return w, snow
}
