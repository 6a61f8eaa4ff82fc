package trip

import (
	"cmp"
	"sort"

	"example.org/eclose/forecast"
)

// A Prospect is what the coming days at one river are worth: the same figures that order a
// trip, without a stay of fixed length.
type Prospect struct {
	Days []Day
	// Whole are all of the days as one stay: its best stages are those of Day.Chance.
	Whole Stay
	// Best are the best days in a row; nil where nothing is asked for or shows.
	Best *Stay
	// Next are the stages that are still to come or under way, worthiest first.
	Next []Likely
	d    *days
}

// Day is one day ahead at a river.
type Day struct {
	Date     forecast.Date `json:"date"`
	Chance   float64       `json:"chance"` // that at least one of the best stages of all the days shows
	Calendar float64       `json:"chance_calendar"`
	Flow     Odds          `json:"flow"`
	Warm     Odds          `json:"warm_water"`
	Worth    float64       `json:"worth"` // orders; never printed
}

// Bounds of the best days in a row; our own defaults.
const (
	runMost = 4
	runFrom = 0.85 // of the best day's worth
)

// LookAhead works out the days from ask.From to ask.To at one river. ask.Days is not
// used. The result is nil where the outlook holds nothing that is asked for.
func LookAhead(ask Ask, r River, groups Groups) *Prospect {
	d := tally(ask, r, groups)
	if d == nil {
		return nil
	}
	a := &Prospect{d: d}
	best := -1
	last := ask.To
	for last > ask.From && !d.covers(last) {
		last--
	}
	whole, _ := d.stay(ask.From, last)
	whole.name()
	a.Whole = whole
	for at := ask.From; at <= last; at++ {
		s, ok := d.stay(at, at)
		if !ok {
			continue
		}
		p, calendar := atLeastOne(whole.Best(), at)
		a.Days = append(a.Days, Day{at, p, calendar, s.Flow, s.Warm, s.Worth})
		if n := len(a.Days) - 1; best < 0 || s.Worth > a.Days[best].Worth {
			best = n
		}
	}
	if best >= 0 && a.Days[best].Worth > 0 {
		from, to := a.around(best)
		a.Best = a.Stay(from, to)
	}
	a.Next = d.next(ask.From, ask.To)
	return a
}

// around widens the best day to days in a row that are nearly as good.
func (a *Prospect) around(best int) (from, to forecast.Date) {
	i, j := best, best
	good := func(k int) bool {
		return k >= 0 && k < len(a.Days) && a.Days[k].Worth >= runFrom*a.Days[best].Worth
	}
	for j-i+1 < runMost {
		switch {
		case good(j+1) && (!good(i-1) || a.Days[j+1].Worth >= a.Days[i-1].Worth):
			j++
		case good(i - 1):
			i--
		default:
			return a.Days[i].Date, a.Days[j].Date
		}
	}
	return a.Days[i].Date, a.Days[j].Date
}

// Stay sums up some days at the river; nil where the outlook does not cover them.
func (a *Prospect) Stay(from, to forecast.Date) *Stay {
	s, ok := a.d.stay(from, to)
	if !ok {
		return nil
	}
	a.d.fill(&s)
	return &s
}

// Matters reports whether a day or a stay is worth being there for at all, were flow and
// warmth no matter: some stage that an angler would come for has a fair chance.
func (a *Prospect) Matters(s *Stay) bool {
	if s == nil {
		return false
	}
	for _, l := range s.Best() {
		if l.worth >= leastWorth && !l.background {
			return true
		}
	}
	return false
}

// leastWorth is a chance of one in five of a stage of the second rank, and of one in
// eight of the first. Our own default.
const leastWorth = 0.12

// nextDays is how far ahead the list of what comes looks. Our own default.
const nextDays = 90

// next are the stages under way or still to come, each with its chance on its best day
// from the first day on, worthiest first.
func (d *days) next(from, to forecast.Date) []Likely {
	to = max(to, from+nextDays)
	var out []Likely
	for k, st := range d.stages {
		if d.minor[k] || st.Window.Peak.P50 == 0 || st.Window.End.P50 < from {
			continue
		}
		l := Likely{Group: st.Group, Name: st.Name, Stage: st.Stage, Hours: st.Hours, Grade: st.Grade, stage: st}
		for at := from; at <= to; at++ {
			if x, ok := st.On(at); ok && x.P > l.Chance {
				l.Chance, l.Calendar, l.BestDay = x.P, x.PCalendar, at
			}
		}
		if l.worth = d.weight[k] * l.Chance; l.Chance >= namedFrom {
			out = append(out, l)
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(cmp.Compare(b.worth, a.worth), cmp.Compare(a.stage.Window.Start.P50, b.stage.Window.Start.P50)) < 0
	})
	return out
}
