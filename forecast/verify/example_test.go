package verify_test

import (
	"fmt"

	"example.org/eclose/forecast/verify"
)

// Ten forecasts of two kinds, taken apart into what they say of the events
// (reliability) and how well they tell them from others (resolution).
func ExampleDecompose() {
	p := []float64{0.2, 0.2, 0.2, 0.2, 0.2, 0.8, 0.8, 0.8, 0.8, 0.8}
	y := []bool{false, false, false, false, true, true, true, true, true, false}
	d := verify.Decompose(verify.Distinct(p, y))
	fmt.Printf("Brier score %.2f = reliability %.2f - resolution %.2f + uncertainty %.2f\n", d.Brier, d.Reliability, d.Resolution, d.Uncertainty)
	fmt.Printf("skill against the base rate %.2f\n", verify.Skill(d.Brier, d.Uncertainty))
	// Output:
	// Brier score 0.16 = reliability 0.00 - resolution 0.09 + uncertainty 0.25
	// skill against the base rate 0.36
}

// An ensemble of dates (day of year) against the date that came.
