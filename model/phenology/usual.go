package phenology

import "math"

// usualReach is how far the usual curve reaches on both sides of the median,
// days.
const usualReach = 200

// UsualCurve is the share of a season that has passed, by days from its median.
type UsualCurve struct {
	passed []float64 // passed[k] is the share before usualReach days before the median + k
	normal float64   // spread of a normal curve, days, where there is no table
}

// normalCurve is the usual curve of a group of which only the spread is known,
// days.
func normalCurve(spreadDays float64) UsualCurve { return UsualCurve{normal: spreadDays} }

// CatchCurve is one season's catch by day from its median.
type CatchCurve struct {
	Offset []int // days from the median
	Count  []float64
}

// NewUsualCurve averages the catches of past seasons, aligned on their medians
// and smoothed over three days. A small share is spread over four months, since
// past seasons do not bound the next one.
func NewUsualCurve(seasons []CatchCurve) UsualCurve {
	const (
		smooth    = 3.0
		half      = 12
		flat      = 0.02
		flatDays  = 60.0
		fullCatch = 200.0 // from so many animals on a season counts in full
		n         = 2*usualReach + 1
	)
	raw := make([]float64, n)
	for _, s := range seasons {
		var total, inside float64
		for i, o := range s.Offset {
			total += s.Count[i]
			if o >= -usualReach && o <= usualReach {
				inside += s.Count[i]
			}
		}
		if inside == 0 {
			continue
		}
		w := min(1, math.Sqrt(total/fullCatch)) / inside
		for i, o := range s.Offset {
			if o >= -usualReach && o <= usualReach {
				raw[o+usualReach] += w * s.Count[i]
			}
		}
	}
	share := make([]float64, n)
	var sum float64
	for d := range share {
		for k := -half; k <= half; k++ {
			if i := d + k; i >= 0 && i < n {
				share[d] += raw[i] * math.Exp(-0.5*float64(k*k)/(smooth*smooth))
			}
		}
		sum += share[d]
	}
	if sum == 0 {
		return UsualCurve{}
	}
	var flatSum float64
	wide := make([]float64, n)
	for d := range wide {
		z := float64(d-usualReach) / flatDays
		wide[d] = math.Exp(-0.5 * z * z)
		flatSum += wide[d]
	}
	c := UsualCurve{passed: make([]float64, n+1)}
	for d := range share {
		c.passed[d+1] = c.passed[d] + (1-flat)*share[d]/sum + flat*wide[d]/flatSum
	}
	return c
}

// Passed is the share that has passed x days after the median.
func (c *UsualCurve) Passed(x float64) float64 {
	if c.passed == nil {
		return phi(x / c.normal)
	}
	at := x + usualReach
	switch {
	case at <= 0:
		return 0
	case at >= float64(len(c.passed)-1):
		return c.passed[len(c.passed)-1]
	}
	i := int(at)
	return c.passed[i] + (at-float64(i))*(c.passed[i+1]-c.passed[i])
}

// RecentHalfLife is the half-life of a season's weight, in years, in the calendar
// that trusts recent years more: chosen on the Breitenbach record up to 1995.
const RecentHalfLife = 8.0
