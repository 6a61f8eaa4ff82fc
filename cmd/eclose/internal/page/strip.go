package page

import (
	"fmt"
	"html/template"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// stripDays is how many days stand side by side on the front page. Our own.
const stripDays = 14

// dayHead is the head of a column of days.
type dayHead struct {
	Letter, Weekday, Number string
	Weekend                 bool
}

func dayHeads(from forecast.Date, n int) []dayHead {
	out := make([]dayHead, n)
	for i := range out {
		t := (from + forecast.Date(i)).Time()
		w := t.Format("Mon")
		out[i] = dayHead{Letter: w[:1], Weekday: w[1:], Number: t.Format("2"), Weekend: w[0] == 'S'}
	}
	return out
}

// risk is how likely something is that spoils a day: in three steps, distinguished
// by texture, and unknown.
type risk int

const (
	riskLow risk = iota
	riskSome
	riskHigh
	riskUnknown
)

// Shares from which a risk is drawn. Our own defaults.
const (
	someFrom = 0.2
	highFrom = 0.5
)

func riskOf(p float64) risk {
	switch {
	case p >= highFrom:
		return riskHigh
	case p >= someFrom:
		return riskSome
	}
	return riskLow
}

// Words are read out in the place of the texture.
func (r risk) Words() string {
	return [...]string{"unlikely", "may be", "more likely than not", "unknown"}[r]
}

// stripCell is one river on one day.
type stripCell struct {
	Date       forecast.Date
	Up, Down   float64 // chance of the likeliest hatch, and egg-laying flight
	High, Warm risk
	Best       bool // among the best days
}

// P is the chance of the likelier of the two.
func (c stripCell) P() float64 { return max(c.Up, c.Down) }

// cellsOf works out a river's days. Only stages that matter count: those that are
// asked for, or else those worth a trip.
func (s *site) cellsOf(river trip.River, ask string, from forecast.Date, n int) []stripCell {
	stages := s.worthwhile(river.Outlook, ask)
	out := make([]stripCell, n)
	for i := range out {
		c := stripCell{Date: from + forecast.Date(i)}
		for _, st := range stages {
			x, ok := st.On(c.Date)
			if !ok {
				continue
			}
			if st.Stage == forecast.Emergence {
				c.Up = max(c.Up, x.P)
			} else {
				c.Down = max(c.Down, x.P)
			}
		}
		c.High, c.Warm = riskUnknown, riskUnknown
		out[i] = c
	}
	return out
}

// worthRank is the least rank of the catalogue of a stage that counts where
// nothing is asked for: those that people plan a day for.
const worthRank = 2

// worthwhile are the fishable stages of an outlook that are asked for; of all, those
// that matter, or every one where none does.
func (s *site) worthwhile(o *forecast.Outlook, ask string) []*forecast.StageOutlook {
	var some, all []*forecast.StageOutlook
	for i := range o.Stages {
		st := &o.Stages[i]
		if !st.Fishable || ask != "" && st.Group != ask || ask == "" && st.Elsewhere {
			continue
		}
		all = append(all, st)
		if g := s.groups[st.Group]; !st.AllYear && g != nil && g.Worth(insects.Stage(st.Stage)) <= worthRank {
			some = append(some, st)
		}
	}
	if ask != "" || len(some) == 0 {
		return all
	}
	return some
}

// swell draws a river's days: above the line what leaves the water, below it what
// comes back. The best days stand in a box.
func swell(cells []stripCell, label string) template.HTML {
	var b strings.Builder
	n := len(cells)
	fmt.Fprintf(&b, `<svg class="reach swells" viewBox="0 -100 %d 200" preserveAspectRatio="none" role="img" aria-label="%s">`, 20*n, template.HTMLEscapeString(label))
	for i := 0; i < n; i++ {
		if !cells[i].Best {
			continue
		}
		j := i
		for j < n && cells[j].Best {
			j++
		}
		fmt.Fprintf(&b, `<rect class="bestdays" x="%d" y="-98" width="%d" height="196"/>`, 20*i, 20*(j-i))
		i = j
	}
	b.WriteString(`<path class="month" d="`)
	for i := 1; i < n; i++ {
		fmt.Fprintf(&b, "M%d-100v200", 20*i)
	}
	fmt.Fprintf(&b, `M0-50h%[1]dM0 50h%[1]d"/>`, 20*n)
	side := func(class string, sign int, of func(stripCell) float64) {
		var d strings.Builder
		top := 0.0
		for i, c := range cells {
			y := int(100*of(c) + 0.5)
			top = max(top, of(c))
			if i == 0 {
				fmt.Fprintf(&d, "M0 0V%dH10", sign*y)
			} else {
				fmt.Fprintf(&d, "L%d %d", 20*i+10, sign*y)
			}
			if i == n-1 {
				fmt.Fprintf(&d, "H%dV0z", 20*n)
			}
		}
		if top >= 0.01 {
			fmt.Fprintf(&b, `<path class="%s swell" d="%s"/>`, class, d.String())
		}
	}
	side("up", -1, func(c stripCell) float64 { return c.Up })
	side("down", 1, func(c stripCell) float64 { return c.Down })
	fmt.Fprintf(&b, `<path class="surface" d="M0 0h%d"/></svg>`, 20*n)
	return template.HTML(b.String()) //nolint:gosec // numbers and one escaped label
}

// trend tells a reading in a table: the number, and where it goes.
func tableFlow(st *State, u wading.Units) string {
	if !st.Caution.Flow.Present {
		return "no reading"
	}
	words := u.Alone().Flow(st.Caution.Flow.Value)
	if st.Outlook != nil {
		if t := st.Outlook.Flow.Trend(); t != "" {
			words += ", " + string(t)
		}
	}
	return words
}
