package phenology

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// PowerLaw is development at constant temperature by ln(days) = A + B ln(T),
// T in °C above 0, days to the end of the stage.
type PowerLaw struct{ A, B, R2 float64 }

// LinearLaw is development at constant temperature by 1/days = (T - T0)/K: T0
// the threshold, °C, K the requirement, °C·d. Near T0 its days go to infinity.
type LinearLaw struct{ T0, K, R2 float64 }

// FitPower fits the power law by least squares on the logarithms.
func FitPower(tempC, days []float64) (PowerLaw, error) {
	if err := development(tempC, days); err != nil {
		return PowerLaw{}, fmt.Errorf("fitting a power law: %w", err)
	}
	x, y := make([]float64, len(days)), make([]float64, len(days))
	for i := range days {
		x[i], y[i] = math.Log(tempC[i]), math.Log(days[i])
	}
	a, b := stat.LinearRegression(x, y, nil, false)
	return PowerLaw{a, b, stat.RSquared(x, y, nil, a, b)}, nil
}

// FitLinear fits the linear law by least squares on the rate 1/days.
func FitLinear(tempC, days []float64) (LinearLaw, error) {
	if err := development(tempC, days); err != nil {
		return LinearLaw{}, fmt.Errorf("fitting a linear law: %w", err)
	}
	y := make([]float64, len(days))
	for i := range days {
		y[i] = 1 / days[i]
	}
	a, b := stat.LinearRegression(tempC, y, nil, false)
	return LinearLaw{-a / b, 1 / b, stat.RSquared(tempC, y, nil, a, b)}, nil
}

func development(tempC, days []float64) error {
	if len(tempC) != len(days) || len(days) < 3 {
		return fmt.Errorf("%d temperatures and %d durations", len(tempC), len(days))
	}
	for i := range days {
		if !(tempC[i] > 0) || !(days[i] > 0) {
			return fmt.Errorf("point %d: %v days at %v °C", i, days[i], tempC[i])
		}
	}
	return nil
}

// Days is the duration of the stage at a constant temperature; +Inf at 0 °C.
func (l PowerLaw) Days(tempC float64) float64 { return math.Exp(l.A) * math.Pow(tempC, l.B) }

// Days is the duration of the stage at a constant temperature; +Inf at or below
// the threshold.
func (l LinearLaw) Days(tempC float64) float64 {
	if tempC <= l.T0 {
		return math.Inf(1)
	}
	return l.K / (tempC - l.T0)
}

// Complete is the day (from 0, with its fraction) on which development begun at
// the start of day from is complete in changing water: the first by which the
// daily rates 1/Days have summed to 1. It says false if the days end before.
func Complete(tempC []float64, from int, days func(tempC float64) float64) (float64, bool) {
	var done float64
	for d := from; d < len(tempC); d++ {
		rate := 0.0
		if t := tempC[d]; t > 0 {
			rate = 1 / days(t)
		}
		if done+rate >= 1 {
			return float64(d) + (1-done)/rate, true
		}
		done += rate
	}
	return 0, false
}
