package flight

// Year is how many days a season-year has; its days count from 1.
const Year = 366

// Effort is how much people looked, by day of the season-year, in any unit. The
// records of one group on a day are in proportion to it and to the group's
// activity, so a platform that grows or a season that draws people out does not
// move the dates. Index 0 is day 1.
type Effort [Year]float64

// smoothDays is over how many days counts are averaged: a week, so that weekends
// leave no trace.
const smoothDays = 7

// EffortOf returns the effort by the numbers of records of any kind on each day,
// all years together, averaged over a week. Where nothing is known it is even.
func EffortOf(counts [Year]float64) Effort {
	var out Effort
	sum := 0.0
	for d := range counts {
		for k := -smoothDays / 2; k <= smoothDays/2; k++ {
			out[d] += counts[(d+k+Year)%Year] / smoothDays
		}
		sum += counts[d]
	}
	// A little everywhere: a day without a record is not one on which nobody could
	// have looked. One record in a thousand; our own default.
	for d := range out {
		if sum == 0 {
			out[d] = 1
		} else {
			out[d] += sum / 1000 / Year
		}
	}
	return out
}
