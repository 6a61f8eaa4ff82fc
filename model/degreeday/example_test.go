package degreeday_test

import (
	"fmt"

	"example.org/eclose/model/degreeday"
)

// A day with a minimum of 8 °C and a maximum of 22 °C, over a base of 10 °C.
func ExampleRule_Day() {
	average := degreeday.Rule{Method: degreeday.AverageMean, Lower: 10}
	sine := degreeday.Rule{Method: degreeday.SingleSine, Cutoff: degreeday.Horizontal, Lower: 10, Upper: 30}
	fmt.Printf("average %.2f, single sine %.2f °C days\n", average.Day(8, 22, 9), sine.Day(8, 22, 9))
	// Output: average 5.00, single sine 5.33 °C days
}

// The sum of degree-days of five daily means, from 4 °C up to 20 °C.
func ExampleRunningSum() {
	mean := []float64{3, 6, 9, 21, 12}
	sum := make([]float64, len(mean))
	degreeday.RunningSum(sum, mean, 4, 20)
	fmt.Println(sum)
	// Output: [0 2 7 23 31]
}
