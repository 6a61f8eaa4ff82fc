package page

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
)

// gridWeeks is how many weeks the grid of a trip shows. Our own.
const gridWeeks = 8

// lay puts a plan into the parts of its page.
func (p *tripPage) lay(s *site, t *trip.Trip, rivers []trip.River) {
	p.First = s.stayView(t.First)
	p.Heading = t.First.RiverName + ", " + trip.Span(t.First.From, t.First.To)
	switch {
	case t.Draw:
		p.Heading = fmt.Sprintf("%s, %s, or %s, %s", t.First.RiverName, trip.Span(t.First.From, t.First.To), t.Second.RiverName, trip.Span(t.Second.From, t.Second.To))
	case t.Invite:
		p.Heading = "Go to " + p.Heading
	}
	p.Flow = &cautionLine{Lead: "Flow", Strong: !t.First.Flow.Known || t.First.Flow.P >= highFrom, Text: []string{forecast.UpperFirst(t.First.Flow.Words)}}
	if w := t.First.FishableWords(); w != "" {
		p.Flow.Text = append(p.Flow.Text, w)
	}
	p.Flow.Text = append(p.Flow.Text, "Warm water: "+lowerFirst(t.First.Warm.Words), "Read the gauge again the evening before, and look at the water when you are there")
	if t.Second != nil {
		v := s.stayView(*t.Second)
		p.Second = &v
		p.Costs = costs(t.First, *t.Second)
	}
	if t.Earlier != nil {
		p.Shifts = append(p.Shifts, shiftWords("A week earlier", t.First, *t.Earlier))
	}
	if t.Later != nil {
		p.Shifts = append(p.Shifts, shiftWords("A week later", t.First, *t.Later))
	}
	p.grid(s, t, rivers)
	for _, f := range t.Tying {
		p.Tie = append(p.Tie, tieLine{Name: forecast.UpperFirst(f.Name), Sizes: sizesOf(f), For: strings.Join(f.For, ", "), How: firstUpper(f.Materials), Take: f.Take, InBox: f.InBox, ToTie: f.ToTie(), By: f.NeededBy.Short()})
		p.TieN += f.ToTie()
		p.HasBox = p.HasBox || f.InBox > 0
	}
	p.TieBy = weekday(t.BoxReady)
}

func firstUpper(s string) string {
	if s == "" {
		return ""
	}
	return forecast.UpperFirst(s)
}

// askedFor is the ask in one line.
func (p *tripPage) askedFor() string {
	var rivers, groups []string
	for _, x := range p.Rivers {
		if x.On {
			rivers = append(rivers, x.Name)
		}
	}
	for _, x := range p.Groups {
		if x.On {
			groups = append(groups, x.Name)
		}
	}
	a, b := p.Trip.Ask.From, p.Trip.Ask.To
	return fmt.Sprintf("%d days between %s and %s, %s, %s", p.Days, weekday(a), weekday(b), allOr(rivers, "all rivers"), allOr(groups, "every insect"))
}

func allOr(names []string, all string) string {
	switch {
	case len(names) == 0:
		return all
	case len(names) > 3:
		return fmt.Sprintf("%s and %d more", strings.Join(names[:2], ", "), len(names)-2)
	}
	return strings.Join(names, ", ")
}

func (s *site) stayView(x trip.Stay) stayView {
	v := stayView{Slug: x.River, Name: x.RiverName, Dates: trip.Span(x.From, x.To),
		Sure:     forecast.UpperFirst(forecast.Likelihood(x.Chance)) + ": " + whole(forecast.Percent(x.Chance)),
		SureText: fmt.Sprintf("that a day shows you at least one of these; by the calendar alone %s.", whole(forecast.Percent(x.Calendar)))}
	for _, l := range x.Best() {
		c := catchView{Key: l.Group, Name: forecast.UpperFirst(l.Name), Verb: "hatches", Up: l.Stage == forecast.Emergence, Stage: l.Stage, P: whole(forecast.Percent(l.Chance)), Calendar: whole(forecast.Percent(l.Calendar)),
			Hours: l.Hours.Words(), Picture: s.picture(l.Group)}
		if !c.Up {
			c.Verb = "lays eggs"
		}
		if g := s.groups[l.Group]; g != nil {
			fly := trip.PatternOf(g, l.Stage)
			c.Fly = fly.Words()
			if fly.OnLand {
				c.Verb = "falls on the water"
			}
		}
		v.Catches = append(v.Catches, c)
	}
	sort.SliceStable(v.Catches, func(i, j int) bool { return cmp.Compare(percentOf(x, v.Catches[j]), percentOf(x, v.Catches[i])) < 0 })
	return v
}

func percentOf(x trip.Stay, c catchView) float64 {
	for _, l := range x.Best() {
		if l.Group == c.Key && l.Stage == c.Stage {
			return l.Chance
		}
	}
	return 0
}

// costs says what the second choice costs and what it gains, and so why the first.
func costs(a, b trip.Stay) []string {
	var lost, won, out []string
	for _, l := range a.Best() {
		if !bestHas(b, l) {
			lost = append(lost, trip.What(l.Name, l.Stage, false))
		}
	}
	for _, l := range b.Best() {
		if !bestHas(a, l) {
			won = append(won, trip.What(l.Name, l.Stage, false))
		}
	}
	if len(lost) > 0 {
		out = append(out, "It costs "+strings.Join(lost, " and ")+".")
	}
	if len(won) > 0 {
		out = append(out, "It gains "+strings.Join(won, " and ")+".")
	}
	out = append(out, fmt.Sprintf("On a day %s instead of %s that you see at least one.", whole(forecast.Percent(b.Chance)), whole(forecast.Percent(a.Chance))))
	switch d := int(b.From - a.From); {
	case d < 0:
		out = append(out, fmt.Sprintf("You go %s sooner.", days(-d)))
	case d > 0:
		out = append(out, fmt.Sprintf("You go %s later.", days(d)))
	}
	if a.Flow.Known && b.Flow.Known {
		out = append(out, fmt.Sprintf("Flow too high on %s of its days, against %s.", whole(forecast.Percent(b.Flow.P)), whole(forecast.Percent(a.Flow.P))))
	}
	return out
}

func days(n int) string {
	if n == 1 {
		return "a day"
	}
	return fmt.Sprintf("%d days", n)
}

func bestHas(s trip.Stay, l trip.Likely) bool {
	return slices.ContainsFunc(s.Best(), func(x trip.Likely) bool { return x.Group == l.Group && x.Stage == l.Stage })
}

// shiftWords says what the same stay would come to at another time.
func shiftWords(when string, a, b trip.Stay) string {
	return fmt.Sprintf("%s: %s instead of %s, %.1f hatches or egg-laying flights a day instead of %.1f; flow too high %s.", when, whole(forecast.Percent(b.Chance)), whole(forecast.Percent(a.Chance)), b.Stages, a.Stages, oddsText(b.Flow))
}

func oddsText(o trip.Odds) string {
	if !o.Known {
		return "unknown"
	}
	return whole(forecast.Percent(o.P))
}

// grid puts the weeks of each river in a row, in their order.
func (p *tripPage) grid(s *site, t *trip.Trip, rivers []trip.River) {
	weeks := slices.Clone(t.Weeks)
	sort.SliceStable(weeks, func(i, j int) bool { return weeks[i].From < weeks[j].From })
	var starts []forecast.Date
	for _, w := range weeks {
		if !slices.Contains(starts, w.From) && len(starts) < gridWeeks {
			starts = append(starts, w.From)
			p.Heads = append(p.Heads, dateSpan(w.From, w.To))
		}
	}
	var order []string // rivers, the best week first
	for _, w := range t.Weeks {
		if !slices.Contains(order, w.River) && len(order) < stripsShown {
			order = append(order, w.River)
		}
	}
	for _, slug := range order {
		row := tripRiver{}
		var bad []string
		for _, start := range starts {
			i := slices.IndexFunc(weeks, func(w trip.Stay) bool { return w.River == slug && w.From == start })
			if i < 0 {
				row.Weeks = append(row.Weeks, weekCell{Chance: "–", High: "unknown", Warm: "unknown"})
				continue
			}
			w := weeks[i]
			c := weekOf(w)
			row.Name = w.RiverName
			for _, r := range rivers {
				if r.Outlook.River == slug {
					c.Swell = s.weekSwell(r.Outlook, w)
				}
			}
			c.Tag = "first choice"
			c.First = slug == t.First.River && t.First.From >= w.From && t.First.From <= w.To
			c.Second = !c.First && t.Second != nil && slug == t.Second.River && t.Second.From >= w.From && t.Second.From <= w.To
			if c.HighStrong && w.Flow.Known {
				bad = append(bad, c.Head)
			}
			row.Weeks = append(row.Weeks, c)
		}
		if len(bad) > 0 {
			p.Not = append(p.Not, fmt.Sprintf("%s, %s: better not to wade on more days than not.", row.Name, strings.Join(bad, ", ")))
		}
		p.Grid = append(p.Grid, row)
	}
}

func sizesOf(f trip.Fly) string {
	parts := make([]string, len(f.Hooks))
	for i, h := range f.Hooks {
		parts[i] = fmt.Sprintf("%d in %d", h.Count, h.Size)
	}
	return strings.Join(parts, ", ")
}

// reach says how far the newest forecasts reach, for dates beyond it.
func reach(rivers []trip.River) string {
	newest := rivers[:0:0]
	for _, r := range rivers {
		if len(newest) == 0 || r.Outlook.IssuedAt.After(newest[0].Outlook.IssuedAt) {
			newest = []trip.River{r}
		}
	}
	if len(newest) == 0 {
		return " No river has a forecast yet."
	}
	o := newest[0].Outlook
	last := o.IssueDate()
	if n := len(o.Water); n > 0 {
		last = o.Water[n-1].Date
	}
	return fmt.Sprintf(" The newest forecast, of %s, reaches from its own day to %s.", o.IssuedAt.In(forecast.ZoneOf(o.Zone)).Format("Mon 2 Jan 2006"), last.Time().Format("2 Jan 2006"))
}
