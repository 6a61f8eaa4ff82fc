package phenology

import (
	"math"
	"sort"
)

// Degree-days of the joint model count daily means above BaseC, °C, from
// biofixDays before a taxon's usual median date, but not before 1 January. On
// the record that the model was set on, bases of 0 to 6 °C and windows of 30 to
// 120 days did as well.
const (
	BaseC      = 4.0
	biofixDays = 90
	// leastRate keeps a date within reach in water that stays below the base.
	leastRate = 0.2
	// smoothDays is over how many days the usual degree-days are averaged.
	smoothDays = 15
)

// DegreeDayYear is the mean degree-days of each day of the year at a site, °C·d,
// in running sums: Sum[d] is the sum through day of the year d.
type DegreeDayYear struct {
	rate []float64
	sum  []float64
}

// NewDegreeDayYear averages years of daily mean water temperature, °C from 1
// January, NaN where unknown. It returns nil if a day of the year has no value
// in any of them.
func NewDegreeDayYear(years [][]float64) *DegreeDayYear {
	const days = 365
	mean := make([]float64, days)
	for d := range mean {
		n := 0.0
		for _, y := range years {
			if d < len(y) && !math.IsNaN(y[d]) {
				mean[d] += degreeDays(y[d])
				n++
			}
		}
		if n == 0 {
			return nil
		}
		mean[d] /= n
	}
	c := &DegreeDayYear{rate: make([]float64, days), sum: make([]float64, days+1)}
	for d := range c.rate {
		var s float64
		for k := -smoothDays / 2; k <= smoothDays/2; k++ {
			s += mean[(d+k+days)%days]
		}
		c.rate[d] = max(leastRate, s/smoothDays)
		c.sum[d+1] = c.sum[d] + c.rate[d]
	}
	return c
}

func degreeDays(tempC float64) float64 { return max(0, tempC-BaseC) }

// Biofix is the first day of the year whose degree-days count for a taxon.
func Biofix(medianDOY float64) int { return max(1, int(math.RoundToEven(medianDOY))-biofixDays) }

// Requirement is what the mean year gathers from a taxon's biofix to the end of
// its usual median date, °C·d. It is 0 for a date outside the year.
func (c *DegreeDayYear) Requirement(medianDOY float64) float64 {
	m := int(math.RoundToEven(medianDOY))
	if m < 1 || m > len(c.rate) {
		return 0
	}
	return c.sum[m] - c.sum[Biofix(medianDOY)-1]
}

// Departure is by how many days the water of a season puts the thermal date of a
// taxon after its usual median date. waterC is the daily mean from 1 January, NaN
// where unknown; days before the day of the year issue count, later and unknown
// ones are taken from the mean year. It is 0 for a median date outside the year.
func (c *DegreeDayYear) Departure(waterC []float64, medianDOY float64, issue int) float64 {
	m := int(math.RoundToEven(medianDOY))
	if m < 1 || m > len(c.rate) {
		return 0
	}
	first := Biofix(medianDOY)
	need := c.Requirement(medianDOY)
	known := min(max(first, issue), len(c.rate))
	for d := first; d < known; d++ {
		rate := c.rate[d-1]
		if d <= len(waterC) && !math.IsNaN(waterC[d-1]) {
			rate = degreeDays(waterC[d-1])
		}
		if need <= rate {
			return float64(d-1-m) + need/max(rate, 1e-6)
		}
		need -= rate
	}
	need += c.sum[known-1]
	k := sort.SearchFloat64s(c.sum, need)
	if k > len(c.rate) {
		last := len(c.rate)
		return float64(last-m) + (need-c.sum[last])/c.rate[last-1]
	}
	return float64(k-1-m) + (need-c.sum[k-1])/c.rate[k-1]
}
