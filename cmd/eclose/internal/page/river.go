package page

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"sort"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/forecast/verdict"
	"example.org/eclose/model/wading"
)

// Days of the chart of what comes next: how far back and how many in all. Our own.
const (
	nextBack = 10
	nextSpan = 150
)

// nextRow is one insect of the list of what comes next, with both of its stages.
type nextRow struct {
	Key, Name string
	Picture   template.HTML
	Lines     []nextLine
	Row       template.HTML
}

// nextLine is one stage: from when to when, best day, and how it lies beside the
// calendar.
type nextLine struct {
	Up                   bool
	Dates, Best, P       string
	Against, Grade, Verb string
}

// weekCell is one river in one week.
type weekCell struct {
	Head                    string
	Chance, Calendar        string
	High, Warm              string
	HighStrong, WarmStrong  bool
	First, Second           bool
	Tag                     string // of the first
	Insects                 string
	Swell                   template.HTML
	From                    forecast.Date
	River, RiverName, Label string
}

// riverPage is a river: what, hours, fly, chance beside the calendar, how sure, flow
// and caution, what to press; the rest below.
type riverPage struct {
	head
	Others  []choice
	Answer  *answerView
	Why     string
	Evening string // what is left of today, in a line
	Day     dayView
	Days    []forecast.Date
	Axis    template.HTML
	Next    []nextRow
	Flow    *flowView
	Weeks   []weekCell
	Groups  int
	Limits  []string
	Notices string
	DateNow string
}

// flowView is the flow of the last days and of those to come.
type flowView struct {
	Plot, Gutter, Axis, Today template.HTML
	Words                     []string
	Limits                    bool
	Source                    string
	Fishable                  *fishableView // nil: no range is named, or no flow is forecast
}

// fishableView is the chance of a flow within the owner's range, day by day.
type fishableView struct {
	Range  string
	Heads  []dayHead
	Chance []string
}

func fishableDays(f *forecast.FlowAhead, today forecast.Date, u wading.Units) *fishableView {
	v := &fishableView{Heads: dayHeads(today, stripDays)}
	known := false
	for d := today; d < today+stripDays; d++ {
		text := "–"
		if x, ok := f.On(d); ok && x.Fishable != nil {
			text, known = strings.TrimSuffix(whole(forecast.Percent(*x.Fishable)), "%"), true
		}
		v.Chance = append(v.Chance, text)
	}
	if !known {
		return nil
	}
	v.Range = u.Flow(f.LowM3s) + " to " + u.Flow(f.HighM3s)
	return v
}

// othersShown is how many rivers the menu of a river lists. Our own.
const othersShown = 6

func (s *site) riverPage(r *http.Request) (*answer, error) {
	river, h, st, err := s.headAsked(r)
	if err != nil {
		return nil, err
	}
	body := riverPage{head: h, Notices: river.Notices}
	body.Tab = "river"
	if rivers := s.Data.Rivers(); len(rivers) <= othersShown && len(rivers) > 1 {
		for _, x := range rivers {
			body.Others = append(body.Others, choice{x.Slug, x.Name, x.Slug == river.Slug})
		}
	}
	if st == nil {
		return &answer{name: "river", title: river.Name, here: "rivers", body: body}, nil
	}
	u := unitsOf(r.Context())
	a := &asked{river: river, head: h, state: st, trip: trip.River{Outlook: st.Outlook, Flows: st.Flows, Caution: &h.judged}}
	v := s.verdictOf([]*asked{a}, "", u)
	a.v = &v.Rivers[0]
	body.Answer = s.riverAnswer(v, a, u)
	if d := st.Outlook.Departure; d != nil && h.Recent != "" {
		body.Why = forecast.UpperFirst(h.Recent)
	}
	body.Evening = leftToday(a.v)
	body.Day = s.dayOf(river, st.Outlook, h.Today, minuteNow(s.Now(), river))
	for d := range 7 {
		body.Days = append(body.Days, h.Today+forecast.Date(d))
	}
	body.Axis, body.Next = s.nextRows(a)
	body.Flow = flowAhead(st, h, u)
	body.Weeks, err = s.weeksOf(a, u)
	if err != nil {
		return nil, err
	}
	groups := map[string]bool{}
	for i := range st.Outlook.Stages {
		if x := &st.Outlook.Stages[i]; x.Fishable {
			groups[x.Group] = true
		}
	}
	body.Groups = len(groups)
	if l := st.Caution.Limits; l != nil {
		body.Limits = []string{"take care from " + u.Flow(l.CareM3s), "better not to wade from " + u.Flow(l.BetterNotM3s), "keep out from " + u.Flow(l.KeepOutM3s)}
	}
	return &answer{name: "river", title: river.Name, here: "rivers", body: body}, nil
}

// riverAnswer is the answer of one river; it invites only where the caution lets it.
func (s *site) riverAnswer(v verdict.Verdict, a *asked, u wading.Units) *answerView {
	x := s.fortnightOf(v, []*asked{a}, u)
	x.Kick = a.river.Name + ", " + a.head.Today.Time().Format("Monday 2 January")
	x.Slug = ""
	b := a.v.Best
	switch v.Answer {
	case verdict.Go:
		x.Heading = "Best " + trip.Span(b.From, b.To)
		if v.Invite {
			x.Heading = "Go " + trip.Span(b.From, b.To)
		}
	case verdict.Water:
		x.Heading = "Insects good, water bad, " + trip.Span(b.From, b.To)
		x.Intro = ""
	default: // the words of the front page serve here too
	}
	line := a.head.Line
	x.Caution = &line
	if b != nil && x.Flow != nil && forecast.ReadingReaches(a.head.Today, b.From) {
		x.Flow = nil // the box of today says it
	}
	return x
}

// leftToday is what is left of today in one line.
func leftToday(r *verdict.River) string {
	if len(r.Today) == 0 {
		return ""
	}
	best := mostLikely(r.Today, 1)[0]
	s := forecast.UpperFirst(best.What())
	if h := best.Hours.Words(); h != "" {
		s += ", " + h
	}
	return s + ", " + whole(forecast.Percent(best.P)) + "."
}

// nextRows draws the ten that matter, in the order in which they open.
func (s *site) nextRows(a *asked) (template.HTML, []nextRow) {
	from := a.head.Today - nextBack
	picture := chart.Season{Day0: from.Time(), Days: nextSpan, Today: nextBack}
	var rows []nextRow
	at := map[string]int{}
	for _, c := range a.v.Next {
		st := stageIn([]*asked{a}, a.river.Slug, c)
		if st == nil {
			continue
		}
		t := st.Trace(from, nextSpan)
		if t == nil {
			continue
		}
		i, ok := at[c.Group]
		if !ok {
			i = len(rows)
			at[c.Group] = i
			rows = append(rows, nextRow{Key: c.Group, Name: forecast.UpperFirst(c.Name), Picture: s.picture(c.Group)})
			picture.Lines = append(picture.Lines, chart.Line{Name: forecast.UpperFirst(c.Name)})
		}
		l := nextLine{Up: c.Stage == forecast.Emergence, Dates: dateSpan(c.From, c.To), Best: c.Best.Short(), P: whole(forecast.Percent(c.P)), Grade: c.Grade.Word(), Verb: "hatches", Against: against(c.Shift)}
		if !l.Up {
			l.Verb = "lays eggs"
		}
		if c.Fly.OnLand {
			l.Verb = "on the water"
		}
		rows[i].Lines = append(rows[i].Lines, l)
		line := &picture.Lines[i]
		line.Note += fmt.Sprintf("%s %s, best %s, %s. ", l.Verb, l.Dates, l.Best, l.P)
		if l.Up {
			line.Emergence = *t
		} else {
			line.EggLaying = *t
		}
	}
	for i := range rows {
		rows[i].Row = template.HTML(picture.Row(i)) //nolint:gosec // our own drawing, its names escaped
	}
	return template.HTML(picture.Axis()), rows //nolint:gosec // likewise
}

// dateSpan is two dates in a table.
func dateSpan(from, to forecast.Date) string {
	if from.Time().Month() == to.Time().Month() {
		return from.Time().Format("2") + " to " + to.Short()
	}
	return from.Short() + " to " + to.Short()
}

// against is how the peak lies beside the calendar's peak.
func against(shift int) string {
	switch {
	case shift <= -2:
		return fmt.Sprintf("%d days before the calendar", -shift)
	case shift >= 2:
		return fmt.Sprintf("%d days after the calendar", shift)
	}
	return "as the calendar"
}

// Days of the picture of the flow. Our own.
const (
	flowBackDays  = 8
	flowAheadDays = 14
)

// flowAhead draws the flow of the last days and of those to come beside the river's
// limits; nil where nothing is known.
func flowAhead(st *State, h head, u wading.Units) *flowView {
	f := st.Outlook.Flow
	if st.Flows == nil && f == nil {
		return nil
	}
	n := flowBackDays + flowAheadDays + 1
	p := chart.Ahead{Day0: (h.Today - flowBackDays).Time(), Today: flowBackDays, Measured: gaps(n), Low: gaps(n), Mid: gaps(n), High: gaps(n),
		Per: 1, Label: u.Alone().Flow}
	if u == wading.US {
		p.Per = wading.Foot3M3
	}
	known := false
	for i := range n {
		d := h.Today - flowBackDays + forecast.Date(i)
		if st.Flows != nil && d < h.Today {
			if k := int(d - st.Flows.Day0); k >= 0 && k < len(st.Flows.M3s) {
				p.Measured[i] = st.Flows.M3s[k]
				known = true
			}
		}
		if x, ok := f.On(d); ok && d >= h.Today {
			p.Low[i], p.Mid[i], p.High[i] = x.P10, x.P50, x.P90
			known = true
		}
	}
	if q := h.judged.Flow; q.Present {
		p.Measured[flowBackDays] = q.Value
		p.Now = "now " + u.Alone().Flow(q.Value)
		if h.ReadAt != "" {
			p.Now = h.ReadAt + ": " + u.Alone().Flow(q.Value)
		}
	}
	if !known {
		return nil
	}
	v := &flowView{}
	if l := limitsOf(st); l != nil {
		p.Limits = []chart.Limit{{M3s: l.CareM3s, Name: "care"}, {M3s: l.BetterNotM3s, Name: "better not to wade"}, {M3s: l.KeepOutM3s, Name: "keep out"}}
		v.Limits = true
	}
	p.Title = fmt.Sprintf("Flow at %s: the last %d days and the %d to come", h.Name, flowBackDays, flowAheadDays)
	days, today := p.Axis()
	v.Plot, v.Gutter = template.HTML(p.Plot()), template.HTML(p.Gutter()) //nolint:gosec // our own drawing, its names escaped
	v.Axis, v.Today = template.HTML(days), template.HTML(today)           //nolint:gosec // likewise
	v.Words, v.Fishable = flowWords(st, h, u), fishableDays(f, h.Today, u)
	if f != nil {
		v.Source = forecast.UpperFirst(f.SourceWords())
	}
	return v
}

func limitsOf(st *State) *wading.Limits {
	if st.Caution.Limits != nil {
		return st.Caution.Limits
	}
	if st.Flows != nil {
		return st.Flows.Limits
	}
	return nil
}

// flowWords says in one or two sentences what the picture shows.
func flowWords(st *State, h head, u wading.Units) []string {
	f, l := st.Outlook.Flow, limitsOf(st)
	if f == nil || len(f.Days) == 0 {
		return []string{"No flow forecast for this river: treat it as too high until you have seen it."}
	}
	if l == nil {
		return []string{"No limit of this river is known: the chart cannot show what its flow means."}
	}
	var worst forecast.FlowDay
	p := 0.0
	for d := h.Today + 1; d <= h.Today+flowAheadDays; d++ {
		if x, ok := f.On(d); ok && x.ChanceAbove(l.BetterNotM3s) > p {
			p, worst = x.ChanceAbove(l.BetterNotM3s), x
		}
	}
	out := []string{}
	if until := highUntil(st, h.Today); until != "" {
		out = append(out, "More likely than not at or above “better not to wade” "+until+".")
	} else if p >= 0.05 {
		out = append(out, fmt.Sprintf("Highest chance of “better not to wade” in these two weeks: %s on %s.", whole(forecast.Percent(p)), weekday(worst.Date)))
	} else {
		out = append(out, "In these two weeks a daily flow at or above “better not to wade” is very unlikely by the forecast. It can rise all the same.")
	}
	return out
}

func gaps(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = nan
	}
	return v
}

// weeksAhead is how many weeks the grid of a river shows. Our own.
const weeksAhead = 8

// weeksOf is the grid of a river's weeks, in their order.
func (s *site) weeksOf(a *asked, u wading.Units) ([]weekCell, error) {
	ask := trip.Ask{From: a.head.Today, To: a.head.Today + 7*weeksAhead - 1, Days: trip.DefaultDays, Units: u}
	t, err := trip.Plan(ask, []trip.River{a.trip}, s.Catalogue.Group)
	if err != nil {
		return nil, nil //nolint:nilerr // a river whose outlook does not reach has no grid
	}
	weeks := slices.Clone(t.Weeks)
	sort.Slice(weeks, func(i, j int) bool { return weeks[i].From < weeks[j].From })
	var out []weekCell
	for _, w := range weeks {
		c := weekOf(w)
		c.Swell = s.weekSwell(a.state.Outlook, w)
		c.First, c.Tag = t.First.From >= w.From && t.First.From <= w.To, "best of these"
		out = append(out, c)
	}
	return out, nil
}

func weekOf(w trip.Stay) weekCell {
	c := weekCell{Head: dateSpan(w.From, w.To), From: w.From, River: w.River, RiverName: w.RiverName,
		Chance: whole(forecast.Percent(w.Chance)), Calendar: whole(forecast.Percent(w.Calendar)), High: "unknown", Warm: "unknown", HighStrong: true, WarmStrong: true}
	if w.Flow.Known {
		c.High, c.HighStrong = whole(forecast.Percent(w.Flow.P)), w.Flow.P >= highFrom
	}
	if w.Warm.Known {
		c.Warm, c.WarmStrong = whole(forecast.Percent(w.Warm.P)), w.Warm.P >= highFrom
	}
	names := []string{}
	for _, l := range w.Best() {
		if !slices.Contains(names, forecast.UpperFirst(l.Name)) {
			names = append(names, forecast.UpperFirst(l.Name))
		}
	}
	c.Insects = joinNames(names, 2)
	return c
}

// weekSwell draws a week's days.
func (s *site) weekSwell(o *forecast.Outlook, w trip.Stay) template.HTML {
	cells := s.cellsOf(trip.River{Outlook: o}, "", w.From, int(w.To-w.From)+1)
	return swell(cells, fmt.Sprintf("%s, %s: the likeliest hatch and egg-laying flight by day", w.RiverName, dateSpan(w.From, w.To)))
}
