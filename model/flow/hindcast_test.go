package flow

import (
	"math"
	"slices"
)

// leads at which hindcasts are judged, in days from the last flow.
var leads = []int{1, 3, 7, 14}

// A climatologyEnsemble is what flows of the fitted years within some days of a date
// were: the reference forecast of the day.
type climatologyEnsemble struct {
	in     Input
	cut    int
	within int
}

func (c *climatologyEnsemble) at(day int) []float64 {
	var out []float64
	for i := range c.cut {
		years := math.Round(float64(c.in.Day0+i-day) / 365.25)
		gap := int(math.Round(float64(c.in.Day0+i-day) - years*365.25))
		if gap >= -c.within && gap <= c.within && !unknown(c.in.Flow[i]) {
			out = append(out, c.in.Flow[i])
		}
	}
	slices.Sort(out)
	return out
}

// dampedPersistence is today's departure of log flow from climatology, damped by lead,
// with the errors that this made in the fitted years.
type dampedPersistence struct {
	m      *Model // for its climatology and its logarithm
	keeps  map[int]float64
	errors map[int][]float64 // sorted; so many quantiles
}

func fitDamped(m *Model, in Input, leads []int) *dampedPersistence {
	d := &dampedPersistence{m, map[int]float64{}, map[int][]float64{}}
	x := make([]float64, len(in.Flow))
	for i, q := range in.Flow {
		x[i] = m.log(q) - m.climate.at(in.Day0+i)
	}
	for _, lead := range leads {
		xy, xx := 0.0, 0.0
		for i := range len(x) - lead {
			if a, b := x[i], x[i+lead]; !unknown(a) && !unknown(b) {
				xy += a * b
				xx += a * a
			}
		}
		k := xy / xx
		var e []float64
		for i := range len(x) - lead {
			if a, b := x[i], x[i+lead]; !unknown(a) && !unknown(b) {
				e = append(e, b-k*a)
			}
		}
		slices.Sort(e)
		q := make([]float64, 200)
		for j := range q {
			q[j] = quantile(e, (float64(j)+0.5)/float64(len(q)))
		}
		d.keeps[lead], d.errors[lead] = k, q
	}
	return d
}

// at returns the members and the forecast without its errors, m3/s.
func (d *dampedPersistence) at(today float64, day, lead int) (members []float64, point float64) {
	x := d.m.log(today) - d.m.climate.at(day)
	y := d.m.climate.at(day+lead) + d.keeps[lead]*x
	for _, e := range d.errors[lead] {
		members = append(members, d.m.flow(y+e))
	}
	return members, d.m.flow(y)
}

// score of one gauge at one lead: sums over n cases, m3/s or log flow.
type score struct {
	n                               float64
	model, damped, point, climate   float64
	logModel, logDamped, logClimate float64
	within, below, above            float64     // of the model's 80 % band
	bins                            [10]float64 // of the model's probability below what came
}

// ahead is how many days hindcasts of a test look.
const ahead = 14

// pastFutures is the weather of past seasons from the same date on, in turn.
func pastFutures(history Input, days, n int) []Future {
	var out []Future
	total := len(history.Flow)
	for k := 1; ; k++ {
		b := int(math.Round(365.25 * float64(k)))
		if b > total {
			break
		}
		f := Future{Like: history.Day0 + total - b}
		if history.Air != nil {
			f.Air = history.Air[total-b : total-b+days]
		}
		if history.Rain != nil {
			f.Rain = history.Rain[total-b : total-b+days]
		}
		out = append(out, f)
	}
	for years := len(out); len(out) < n; {
		out = append(out, out[len(out)-years])
	}
	return out[:n]
}

// hindcast judges a model's forecasts from cut on, an issue every so many days, with the
// weather of past seasons.
func hindcast(in Input, cut, step int, m *Model) (out [4]score) {
	const members = 200
	damped := fitDamped(m, in.slice(0, cut), leads)
	climate := climatologyEnsemble{in, cut, 7}
	column := make([]float64, members)
	for i := cut; i+ahead <= len(in.Flow); i += step {
		history, today := in.slice(0, i), in.Flow[i-1]
		rows := m.Forecast(history, pastFutures(history, ahead, members), ahead, uint64(i))
		if rows == nil || unknown(today) {
			continue
		}
		for l, lead := range leads {
			if y := in.Flow[i+lead-1]; !unknown(y) {
				for k, row := range rows {
					column[k] = row[lead-1]
				}
				slices.Sort(column)
				day := in.Day0 + i - 1
				d, point := damped.at(today, day, lead)
				out[l].add(m, y, column, d, climate.at(day+lead), point)
			}
		}
	}
	return out
}

func (s *score) add(m *Model, y float64, model, damped, climate []float64, point float64) {
	s.n++
	s.model += crps(y, model)
	s.damped += crps(y, damped)
	s.climate += crps(y, climate)
	s.point += math.Abs(y - point)
	s.logModel += m.logCRPS(y, model)
	s.logDamped += m.logCRPS(y, damped)
	s.logClimate += m.logCRPS(y, climate)
	switch {
	case y < quantile(model, 0.1):
		s.below++
	case y > quantile(model, 0.9):
		s.above++
	default:
		s.within++
	}
	p, _ := slices.BinarySearch(model, y)
	s.bins[min(9, p*10/len(model))]++
}

// logCRPS is the score in log flow, which counts a low flow as much as a flood.
func (m *Model) logCRPS(y float64, sorted []float64) float64 {
	v := make([]float64, len(sorted))
	for i, q := range sorted {
		v[i] = m.log(q)
	}
	return crps(m.log(y), v)
}
