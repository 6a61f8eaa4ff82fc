package forecast

import (
	"math/rand/v2"
	"testing"
)

// Days made of columns are those made day by day, wherever days of nothing lie.
func TestDaysOfColumnsAreThoseDayByDay(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for range 2000 {
		n := 1 + rng.IntN(12)
		days := make([]Day, n)
		var columns [dayColumns][]float64
		for c := range columns {
			if c > columnPCalendar && rng.IntN(2) == 0 {
				continue // as without activity
			}
			columns[c] = make([]float64, n)
		}
		for i := range days {
			days[i].Date = 9000 + Date(i)
			for c, to := range []*float64{&days[i].P, &days[i].PCalendar, &days[i].Activity[0], &days[i].Activity[1], &days[i].Activity[2], &days[i].Calendar} {
				if columns[c] != nil && rng.IntN(4) == 0 {
					*to = rng.Float64() / float64(1+rng.IntN(5000)) // some are too little for a step
					columns[c][i] = *to
				}
			}
		}
		if want, got := DaysOf(days), daysOfColumns(9000, n, columns); !got.Equal(want) {
			t.Fatalf("%+v: %+v, day by day %+v", days, got, want)
		}
	}
}
