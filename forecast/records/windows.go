package records

import (
	"cmp"
	"slices"
	"time"

	"example.org/eclose/model/flight"
	"example.org/eclose/model/insects"
)

// A Window is a stage of a group in a region as open records tell it, beside the
// book's.
type Window struct {
	Group   string
	Stage   Stage
	Region  insects.Region
	Book    insects.Window
	HasBook bool
	Records flight.Window // in days from 1 January = 1
}

// Season is how early or late the season under way is in a region.
type Season struct {
	Region  insects.Region
	Late    flight.Range // days; negative is early
	Records int          // of this season
	Groups  int
}

// Windows fits the windows of a region to its records, and this season's shift.
// effort counts insects of any kind by date; where it is empty, all records of the
// region stand for it. Seasons over New Year are left to the book.
func Windows(all []Record, effort map[time.Time]int, region insects.Region, c *insects.Catalogue, now time.Time) ([]Window, Season) {
	var counts [flight.Year]float64
	for d, n := range effort {
		counts[d.YearDay()-1] += float64(n)
	}
	type key struct {
		group string
		stage Stage
	}
	past, current := map[key][]int{}, map[key][]int{}
	var hours [flight.Year]float64 // of samplings that tell their effort
	sampled := map[key]int{}       // records from those
	events := map[string]bool{}
	for _, r := range all {
		if r.Region != region {
			continue
		}
		if len(effort) == 0 {
			counts[r.First.YearDay()-1]++
		}
		if r.Event != "" && r.EffortHours > 0 && !events[r.Event] {
			events[r.Event] = true
			hours[r.First.YearDay()-1] += r.EffortHours
		}
		if r.Group == "" || r.Absent || r.Withheld || !r.First.Equal(r.Last) {
			continue
		}
		k := key{r.Group, r.Stage}
		if r.Event != "" && r.EffortHours > 0 {
			sampled[k]++
		}
		if r.First.Year() == now.Year() {
			current[k] = append(current[k], r.First.YearDay())
		} else {
			past[k] = append(past[k], r.First.YearDay())
		}
	}
	e := flight.EffortOf(counts)
	season := Season{Region: region}
	var seen []flight.Season
	var out []Window
	for k, days := range past {
		g, ok := c.Group(k.group)
		if !ok {
			continue
		}
		stage := insects.Emergence
		if k.stage == EggLaying {
			stage = insects.EggLaying
		}
		w := Window{Group: k.group, Stage: k.stage, Region: region}
		if w.Book, w.HasBook = g.Window(region, stage); !w.HasBook || w.Book.AllYear || w.Book.Start < 1 || w.Book.End > 365 {
			continue
		}
		book := flight.Book{Start: float64(w.Book.Start), Median: float64(w.Book.Median), End: float64(w.Book.End), MedianSD: w.Book.MedianSDDays}
		effort := e
		if 2*sampled[k] > len(days)+len(current[k]) {
			effort = flight.EffortOf(hours) // a trap's own hours
		}
		w.Records = flight.Fit(days, effort, book)
		out = append(out, w)
		if len(current[k]) > 0 {
			seen = append(seen, flight.Season{Days: current[k], Window: w.Records})
			season.Records += len(current[k])
		}
	}
	season.Groups = len(seen)
	season.Late = flight.Shift(seen, e, now.YearDay())
	slices.SortFunc(out, func(a, b Window) int {
		return cmp.Or(cmp.Compare(a.Records.Median.Mid, b.Records.Median.Mid), cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage))
	})
	return out, season
}

// Presence counts the records of each group within so many km of a place, those
// whose place was moved on purpose left out.
func Presence(all []Record, near Near) []Count {
	n := map[string]int{}
	for _, r := range all {
		if r.Group != "" && !r.Absent && !r.Withheld && !r.Obscured && near.Has(r.LatDeg, r.LonDeg) {
			n[r.Group]++
		}
	}
	return counts(n)
}
