package qc

import (
	"math"
	"sort"
	"time"

	"example.org/eclose/ingest"
)

// extremes fails the days whose minimum lies above their maximum. Which of the
// two is wrong nobody can tell, so neither may be used. Agencies approve such
// days: two gauges of the Deschutes have five in their long records.
func (r *run) extremes(other *ingest.Series) {
	sign, ok := map[ingest.Statistic]float64{ingest.Min: 1, ingest.Max: -1}[r.s.Statistic]
	if other == nil || !ok || r.s.Period != ingest.Daily {
		return
	}
	k := 0
	for i, v := range r.s.Value {
		for k < other.Len() && other.Time[k] < r.s.Time[i] {
			k++
		}
		if k == other.Len() {
			return
		}
		if other.Time[k] == r.s.Time[i] && sign*(v-other.Value[k]) > 0 {
			r.set(i, ingest.Fail, TestExtremes)
		}
	}
}

// outOfWater looks for a water sensor that hangs in the air. For each UTC day
// it pairs the readings with the air of the same time (the nearest air reading
// within half an hour) and finds
//
//	slope = cov(w, a) / var(a),   r = cov(w, a) / sqrt(var(w) var(a))
//
// A stream in the sun has slopes near 0.5 and its warmest hour one to four
// hours after the air's, so r at the same hour is low; in the air the slope is
// near 1 and r too. No published limits were found: the limits are our own
// default, checked on invented rivers only.
func (r *run) outOfWater(air *ingest.Series) {
	c := r.c.OutOfWater
	if c.Pairs <= 0 || air == nil || air.Period == ingest.Daily || r.s.Variable != ingest.WaterTemperature {
		return
	}
	const micros = int64(day / time.Microsecond)
	const near = int64(30 * time.Minute / time.Microsecond)
	k := 0
	for i := 0; i < r.n; {
		today := floorDiv(r.s.Time[i], micros)
		first := i
		var p pairs
		for ; i < r.n && floorDiv(r.s.Time[i], micros) == today; i++ {
			t := r.s.Time[i]
			for k+1 < air.Len() && abs(air.Time[k+1]-t) <= abs(air.Time[k]-t) {
				k++
			}
			if !r.ok[i] || k >= air.Len() || abs(air.Time[k]-t) > near || math.IsNaN(air.Value[k]) {
				continue
			}
			p.offer(k, abs(air.Time[k]-t), r.s.Value[i], air.Value[k])
		}
		p.take()
		n, sw, sa, sww, saa, swa := p.n, p.sw, p.sa, p.sww, p.saa, p.swa
		if n < c.Pairs || p.hi-p.lo < c.AirSwing {
			continue
		}
		m := float64(n)
		vw, va, cov := sww-sw*sw/m, saa-sa*sa/m, swa-sw*sa/m
		slope, corr := cov/va, 0.0
		if vw > 0 {
			corr = cov / math.Sqrt(vw*va)
		}
		f := ingest.Pass
		switch {
		case slope >= c.FailSlope && corr >= c.FailFollow:
			f = ingest.Fail
		case slope >= c.SuspectSlope && corr >= c.SuspectCorrelate:
			f = ingest.Suspect
		}
		for j := first; j < i; j++ {
			r.set(j, f, TestOutOfWater)
		}
	}
}

// pairs sums up one day. Each air reading is paired once, with the water
// reading closest to it: four quarter hours beside one hour of air are not
// four witnesses.
type pairs struct {
	n                     int
	sw, sa, sww, saa, swa float64 // of the values less w0 and a0
	w0, a0, lo, hi        float64
	waiting               bool
	air                   int
	distance              int64
	water, airValue       float64
}

func (p *pairs) offer(air int, distance int64, w, a float64) {
	if p.waiting && air == p.air {
		if distance < p.distance {
			p.distance, p.water = distance, w
		}
		return
	}
	p.take()
	p.waiting, p.air, p.distance, p.water, p.airValue = true, air, distance, w, a
}

func (p *pairs) take() {
	if !p.waiting {
		return
	}
	p.waiting = false
	if p.n == 0 {
		p.w0, p.a0, p.lo, p.hi = p.water, p.airValue, p.airValue, p.airValue
	}
	w, a := p.water-p.w0, p.airValue-p.a0
	p.n++
	p.sw, p.sa, p.sww, p.saa, p.swa = p.sw+w, p.sa+a, p.sww+w*w, p.saa+a*a, p.swa+w*a
	p.lo, p.hi = math.Min(p.lo, p.airValue), math.Max(p.hi, p.airValue)
}

func abs(x int64) int64 {
	if x < 0 {
		return -x
	}
	return x
}

// ice marks flow and level that ice may have bent: a rating curve does not
// hold under a cover. Agencies say so late or not at all in real time, so cold
// speaks too: the mean of the air over AirSpan before the reading at or below
// Air, and the water, if a gauge beside tells it, not above Water. The limits
// are our own default.
func (r *run) ice(air, water *ingest.Series) {
	c := r.c.Ice
	if c.AirSpan <= 0 || air == nil || air.Len() == 0 || (r.s.Variable != ingest.Discharge && r.s.Variable != ingest.GaugeHeight) {
		return
	}
	span := c.AirSpan.Microseconds()
	const near = int64(3 * time.Hour / time.Microsecond)
	sum, n := 0.0, 0
	from, to := 0, 0 // the air readings summed
	for i := range r.n {
		t := r.s.Time[i]
		// A daily mean of the air holds for the 24 hours after its stamp and is
		// taken from its day on; that is early by hours, which errs to caution.
		for ; to < air.Len() && air.Time[to] <= t; to++ {
			if v := air.Value[to]; !math.IsNaN(v) {
				sum, n = sum+v, n+1
			}
		}
		for ; from < to && air.Time[from] <= t-span; from++ {
			if v := air.Value[from]; !math.IsNaN(v) {
				sum, n = sum-v, n-1
			}
		}
		if n == 0 || air.Time[to-1] < t-span/3 {
			continue // too little is known of the cold
		}
		if sum/float64(n) > c.Air {
			r.set(i, ingest.Pass, TestIce)
			continue
		}
		if w, ok := nearest(water, t, near); ok && w > c.Water {
			r.set(i, ingest.Pass, TestIce)
			continue
		}
		r.set(i, ingest.Suspect, TestIce)
	}
}

// nearest is the value of s closest to t, if there is one within reach.
func nearest(s *ingest.Series, t, reach int64) (float64, bool) {
	if s == nil || s.Len() == 0 {
		return 0, false
	}
	if s.Period == ingest.Daily {
		reach = int64(day / time.Microsecond)
	}
	j := sort.Search(s.Len(), func(j int) bool { return s.Time[j] >= t })
	best, found := 0.0, false
	least := reach
	for _, k := range [2]int{j - 1, j} {
		if k < 0 || k >= s.Len() || math.IsNaN(s.Value[k]) {
			continue
		}
		if d := abs(s.Time[k] - t); d <= least {
			best, least, found = s.Value[k], d, true
		}
	}
	return best, found
}
