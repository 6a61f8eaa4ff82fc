package flow

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// A column is sorted from the order of the day before, however far that is from the day's.
func TestColumnsAreSortedFromDayToDay(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	const members, days = 40, 60
	rows, order := make([][]float64, members), make([]int, members)
	for k := range rows {
		rows[k], order[k] = make([]float64, days), k
		x := 0.0
		for d := range rows[k] {
			if x = 0.9*x + rng.NormFloat64(); d%20 == 19 {
				x = rng.NormFloat64()
			}
			rows[k][d] = float64(int(8*x)) / 8 // with ties
		}
	}
	column, want := make([]float64, members), make([]float64, members)
	for d := range days {
		sortColumn(column, order, rows, d)
		for k, row := range rows {
			want[k] = row[d]
		}
		slices.Sort(want)
		if !slices.Equal(column, want) {
			t.Fatalf("day %d: %v, not %v", d, column, want)
		}
		for i, k := range order {
			if rows[k][d] != column[i] {
				t.Fatalf("day %d: row %d is not the %d. of the order", d, k, i+1)
			}
		}
	}
}
