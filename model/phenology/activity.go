package phenology

import "math"

// Activity is the share of a season's emergence and egg-laying on each day,
// from the daily mean water temperature, °C, of days counted from 1 January.
// Days that the columns do not reach do not count; the shares of a season that
// lies within them add up to nearly 1 but for what the gate holds back.
func (p Params) Activity(waterC []float64) (emergence, eggs []float64) {
	n := len(waterC)
	emergence, eggs = make([]float64, n), make([]float64, n)
	t50 := p.Median(waterC)
	last := phi((0 - t50) / p.SpreadDays)
	for d := range waterC {
		f := phi((float64(d) + 1 - t50) / p.SpreadDays)
		emergence[d] = p.gate(waterC[d]) * (f - last)
		last = f
	}
	share := 1 / float64(p.LagMaxDays-p.LagMinDays+1)
	for d := range eggs {
		for lag := p.LagMinDays; lag <= p.LagMaxDays && lag <= d; lag++ {
			eggs[d] += emergence[d-lag] * share
		}
	}
	return emergence, eggs
}

// phi is the standard normal distribution function.
func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// gateRampC is the width over which a temperature gate closes; see
// forecast/engine.
const gateRampC = 2.0

func (p Params) gate(t float64) float64 {
	return math.Min(math.Max(math.Min((t-p.GateMinC)/gateRampC, (p.GateMaxC-t)/gateRampC)+1, 0), 1)
}

// outOfReach stands for the date of a requirement that the water never meets, in
// days from 1 January; the same as in forecast/engine.
const outOfReach = 1e5

// Median is the median date of a season's emergence, in days from the start of
// 1 January.
func (p Params) Median(waterC []float64) float64 {
	calendar := p.MedianDOY - 1
	if !p.thermal() {
		return calendar
	}
	return p.Weight*math.Min(p.ThermalDate(waterC), outOfReach) + (1-p.Weight)*calendar
}

// ThermalDate is when the degree-days reach DD50, linear within a day; if the
// columns end first, the last day's rate goes on, and +Inf stands for a rate
// of zero.
func (p Params) ThermalDate(waterC []float64) float64 {
	sum, rate := 0.0, 0.0
	for d := p.BiofixDOY - 1; d < len(waterC); d++ {
		rate = math.Min(math.Max(waterC[d], p.BaseC), p.UpperC) - p.BaseC
		if sum+rate >= p.DD50 {
			return float64(d) + (p.DD50-sum)/rate
		}
		sum += rate
	}
	if rate <= 0 {
		return math.Inf(1)
	}
	return float64(len(waterC)) + (p.DD50-sum)/rate
}

// Window is when a stage's activity starts (10 % has passed), peaks (half) and
// ends (90 %), in days from the start of the columns.
type Window struct{ Start, Peak, End float64 }
