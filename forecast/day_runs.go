package forecast

import "fmt"

// DayText is what is told of a day.
type DayText struct {
	Date Date
	Text string
}

// DayRuns tells days in their order, each with its date before the text; days in a row
// of which the same is told share one entry: "18 May 5%", "19 to 21 May <1%".
func DayRuns(days []DayText, separator string) []string {
	var out []string
	for i := 0; i < len(days); {
		last := i
		for last+1 < len(days) && days[last+1].Text == days[i].Text && days[last+1].Date == days[last].Date+1 {
			last++
		}
		out = append(out, daysBetween(days[i].Date, days[last].Date)+separator+days[i].Text)
		i = last + 1
	}
	return out
}

func daysBetween(from, to Date) string {
	switch a, b := from.Time(), to.Time(); {
	case from == to:
		return from.Short()
	case a.Month() == b.Month():
		return fmt.Sprintf("%d to %s", a.Day(), to.Short())
	}
	return from.Short() + " to " + to.Short()
}
