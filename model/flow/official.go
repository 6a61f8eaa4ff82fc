package flow

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Official is a forecast that an agency has issued for the gauge.
type Official struct {
	Members    [][]float64 // daily mean flow, m3/s, by member and day from the first day ahead on; a row ends where it is unknown
	Past       []Verified  // earlier forecasts of the same source here, to correct its bias and spread
	LastDayM3s float64     // what the source says of the last day of the history; NaN if nothing
	// Untied marks a model that nobody corrects at this gauge: what it is off by at its
	// start it is mostly off by later too.
	Untied bool
}

// untiedStays is which share of an untied model's distance from the gauge stays as days go
// by, until verified forecasts tell its bias. Our own default: models of whole countries
// are often off by a third at a gauge, and by about the same share day after day.
const untiedStays = 0.7

// stays is the share of the distance at the start of a source that does not die away.
func (o *Official) stays() float64 {
	if !o.Untied {
		return 0
	}
	return untiedStays * officialBefore / (float64(len(o.Past)) + officialBefore)
}

// Verified is an official forecast whose day has come.
type Verified struct {
	Lead                     int // days from the issue, 1 for the first
	ForecastM3s, ObservedM3s float64
}

// officialShare is how wide the error of an official forecast is taken to be, as a
// share of the statistical spread at the same lead, until enough of them have been
// verified. Our own default: agencies know the rain that is forecast, and their
// ensembles are narrower than their errors.
const officialShare = 0.6

// officialBefore is how many verified forecasts count as much as the defaults. Our own
// default.
const officialBefore = 20.0

// reach is how many days the longest row covers.
func (o *Official) reach() int {
	n := 0
	for _, row := range o.Members {
		n = max(n, len(row))
	}
	return n
}

// bias is by how much log flow came out above the forecasts, drawn towards 0.
func (o *Official) bias(m *Model) float64 {
	sum, n := 0.0, 0.0
	for _, v := range o.Past {
		if e := m.log(v.ObservedM3s) - m.log(v.ForecastM3s); !unknown(e) {
			sum += e
			n++
		}
	}
	return sum / (n + officialBefore)
}

// share is the size of the forecasts' errors over that of the statistical ones.
func (o *Official) share(m *Model, half []float64) float64 {
	sum, n := 0.0, 0.0
	bias := o.bias(m)
	for _, v := range o.Past {
		e := m.log(v.ObservedM3s) - m.log(v.ForecastM3s) - bias
		if unknown(e) || v.Lead < 1 || v.Lead > len(half) {
			continue
		}
		sum += math.Abs(e) / max(half[v.Lead-1]*meanOfHalf, leastHalf)
		n++
	}
	return min(max((sum+officialBefore*officialShare)/(n+officialBefore), 0.1), 1.5)
}

// meanOfHalf is the mean size of an error over the half width of its 80 % band: 0.798
// over 1.2816 standard deviations of a normal distribution.
const meanOfHalf = 0.6226

// Join puts the forecasts of services in front of statistical members, both daily means
// in m3/s. sources are in order of trust: on each day the first that reaches it counts.
// A member follows a row of that source, without its bias, from where the gauge stands,
// with the error that the statistical member has, as wide as the source's errors are
// here. Where one source ends and the next begins, the distance to the next, or to the
// statistical member, dies away as the flow of this gauge forgets: nothing jumps. now is
// the last flow of the gauge, m3/s; NaN if unknown. rows are overwritten.
func (m *Model) Join(rows [][]float64, sources []Official, now float64, seed uint64) {
	if len(rows) == 0 {
		return
	}
	days := len(rows[0])
	middle, half := m.bands(rows, days)
	type plan struct {
		*Official
		bias, share, gap, stays float64
		used                    []int
	}
	var plans []plan
	rng := rand.New(rand.NewPCG(seed, 22))
	for i := range sources {
		o := &sources[i]
		if o.reach() == 0 {
			continue
		}
		p := plan{Official: o, bias: o.bias(m), share: o.share(m, half), stays: o.stays(), used: rng.Perm(len(o.Members))}
		if g := m.log(now) - m.log(o.LastDayM3s) - p.bias; !unknown(g) {
			p.gap = g // of gauge and source on the last day of the history
		}
		plans = append(plans, p)
	}
	for k, row := range rows {
		// target is what a source says of a day, in log flow; the last is the member itself.
		target := func(i, d int, own float64) (float64, bool) {
			if i == len(plans) {
				return own, true
			}
			p := &plans[i]
			o := p.Members[p.used[k%len(p.used)]]
			if d >= len(o) || unknown(o[d]) {
				return 0, false
			}
			return m.log(o[d]) + p.bias + p.gap*(p.stays+(1-p.stays)*m.keeps[min(d, keptDays-1)]) + p.share*(own-middle[d]), true
		}
		at, left, since := len(plans), 0.0, 0
		last, before := math.NaN(), math.NaN() // the member and its own value on the day before
		for d, q := range row {
			own := m.log(q)
			i := 0
			to, ok := target(i, d, own)
			for ; !ok; to, ok = target(i, d, own) {
				i++
			}
			if i > at { // a source has ended: begin where it left the member
				left, since = 0, 0
				if was, ok := target(i, d-1, before); ok {
					left = last - was
				}
			} else if i < at {
				left = 0 // a better one begins
			}
			at, before = i, own
			stays := 0.0
			if i < len(plans) {
				stays = plans[i].stays
			}
			last = to + left*(stays+(1-stays)*m.keeps[min(since, keptDays-1)])
			since++
			row[d] = m.flow(last)
		}
	}
}

// bands are the median of log flow and half the width of its 80 % band, by day.
func (m *Model) bands(rows [][]float64, days int) (middle, half []float64) {
	middle, half = make([]float64, days), make([]float64, days)
	column := make([]float64, len(rows))
	for d := range days {
		for k, row := range rows {
			column[k] = m.log(row[d])
		}
		slices.Sort(column)
		middle[d] = quantile(column, 0.5)
		half[d] = (quantile(column, 0.9) - quantile(column, 0.1)) / 2
	}
	return middle, half
}
