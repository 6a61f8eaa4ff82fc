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
		gap := mod(c.in.Day0+i-day+182, 365) - 182 // the drift of leap days is within the window
		years := math.Round(float64(c.in.Day0+i-day) / 365.25)
		gap = int(math.Round(float64(c.in.Day0+i-day) - years*365.25))
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

// score of one gauge at one lead; sums over cases, m3/s.
type score struct {
	n                                      float64
	model, known, damped, point, climate   float64
	logModel, logDamped, logClimate        float64
	inside, below, above                   float64 // of the 80 % band of the model
	dampedInside                           float64
	bias, rmse, rmseDamped, biasDamped, sd float64
	width                                  [][4]float64
	reg                                    [5]float64  // mm mx xx my xy
	bins                                   [10]float64 // of the model's probability below the outcome
}

// hindcastAhead is how many days ahead hindcasts of a test look.
const hindcastAhead = 14

// pastFutures is the weather of past seasons from the same date on, in turn.
func pastFutures(history Input, days, n int) []Future {
	var out []Future
	total := len(history.Flow)
	for k := 1; ; k++ {
		b := int(math.Round(365.25 * float64(k)))
		if b > total {
			break
		}
		out = append(out, Future{Air: history.Air[total-b : total-b+days], Like: history.Day0 + total - b})
	}
	years := len(out)
	for len(out) < n {
		out = append(out, out[len(out)-years])
	}
	return out[:n]
}

// hindcast judges a gauge's forecasts in the days from cut on.
func hindcast(in Input, cut, step, members int, m *Model) (out [4]score) {
	fit := in.slice(0, cut)
	damped := fitDamped(m, fit, leads)
	climate := climatologyEnsemble{in, cut, 7}
	column := make([]float64, members)
	for i := cut; i+hindcastAhead <= len(in.Flow); i += step {
		history := in.slice(0, i)
		today := in.Flow[i-1]
		rows := m.Forecast(history, pastFutures(history, hindcastAhead, members), hindcastAhead, uint64(i))
		came := pastFutures(history, hindcastAhead, members)
		for k := range came {
			came[k].Air = in.Air[i : i+hindcastAhead]
		}
		perfect := rows
		if envInt("PERFECT", 0) == 1 {
			perfect = m.Forecast(history, came, hindcastAhead, uint64(i))
		}
		if rows == nil || unknown(today) {
			continue
		}
		for l, lead := range leads {
			y := in.Flow[i+lead-1]
			if unknown(y) {
				continue
			}
			s := &out[l]
			s.n++
			day := in.Day0 + i - 1
			take := func(rows [][]float64) []float64 {
				for k, row := range rows {
					column[k] = row[lead-1]
				}
				slices.Sort(column)
				return column
			}
			s.known += crps(y, take(perfect))
			c := take(rows)
			s.model += crps(y, c)
			lo, hi := quantile(c, 0.1), quantile(c, 0.9)
			switch {
			case y < lo:
				s.below++
			case y > hi:
				s.above++
			default:
				s.inside++
			}
			s.width = append(s.width, [4]float64{m.log(hi) - m.log(lo), float64(boolInt(y >= lo && y <= hi)), m.logCRPS(y, c), 0})
			p, _ := slices.BinarySearch(c, y)
			s.bins[min(9, p*10/len(c))]++
			s.logModel += m.logCRPS(y, c)
			mu, var2 := 0.0, 0.0
			for _, v := range c {
				mu += m.log(v) / float64(len(c))
			}
			for _, v := range c {
				var2 += (m.log(v) - mu) * (m.log(v) - mu) / float64(len(c))
			}
			s.bias += mu - m.log(y)
			s.rmse += (mu - m.log(y)) * (mu - m.log(y))
			s.sd += var2
			{
				cl := m.climate.at(day + lead)
				a, x, o := m.log(quantile(c, 0.5))-cl, m.log(today)-m.climate.at(day), m.log(y)-cl
				s.reg[0] += a * a
				s.reg[1] += a * x
				s.reg[2] += x * x
				s.reg[3] += a * o
				s.reg[4] += x * o
			}
			d, point := damped.at(today, day, lead)
			s.damped += crps(y, d)
			s.point += math.Abs(y - point)
			s.logDamped += m.logCRPS(y, d)
			s.width[len(s.width)-1][3] = m.logCRPS(y, d)
			s.rmseDamped += (m.log(point) - m.log(y)) * (m.log(point) - m.log(y))
			s.biasDamped += m.log(point) - m.log(y)
			if y >= quantile(d, 0.1) && y <= quantile(d, 0.9) {
				s.dampedInside++
			}
			e := climate.at(day + lead)
			s.climate += crps(y, e)
			s.logClimate += m.logCRPS(y, e)
		}
	}
	return out
}

// logCRPS is the score in log flow, which counts a low flow as much as a flood.
func (m *Model) logCRPS(y float64, sorted []float64) float64 {
	v := make([]float64, len(sorted))
	for i, q := range sorted {
		v[i] = m.log(q)
	}
	return crps(m.log(y), v)
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}
