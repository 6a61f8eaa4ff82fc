package watertemp_test

import (
	"fmt"

	"example.org/eclose/model/watertemp"
)

// A reach without a thermometer in late June (day 180): the model pooled over many
// rivers answers a warm spell of ten degrees slowly and by little. Without a gauge
// the flow is nil. Daily means, air -> water, °C.
func ExamplePrior() {
	air := []float64{12, 12, 12, 22, 22, 22, 22, 22, 12, 12}
	m := watertemp.Prior(nil)
	for i, t := range m.Simulate(180, air, nil, 12) {
		fmt.Printf("%g->%.0f ", air[i], t)
	}
	// Output: 12->14 12->16 12->16 22->17 22->17 22->17 22->18 22->18 12->17 12->17
}
