package page

import (
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/forecast/verdict"
	"example.org/eclose/model/wading"
)

// stripsShown is how many rivers stand side by side, the best first; the others
// have a line each. Our own.
const stripsShown = 8

// riverStrip is one river in the table side by side.
type riverStrip struct {
	head
	Best   string // its best days; empty: none
	Status string
	Cells  []stripCell
	Swell  template.HTML
	Chance []string
}

// riverLine is one river in the list of the others: one plain line, since a hundred
// rivers have a hundred of them. All else is on its own page.
type riverLine struct {
	Slug, Name string
	Strong     string // its caution in words where it is 2 or higher, or unknown
	Status     string
}

// gaugeRow is one gauge as it stands now.
type gaugeRow struct {
	Slug, Name, Flow, Water, Read, Far string
	Strong                             bool
}

type homePage struct {
	Today, Fortnight *answerView
	Groups           []choice // of the filter
	Only             string   // name of the group that is asked for
	Heads            []dayHead
	Strips           []riverStrip
	More             []riverLine
	Missing          []head
	Warm             string
	FlowTo           string // last day of the flow forecast, where it ends within the strip
	Sketch           template.HTML
	Gauges           []gaugeRow
	FarFrom          string
	Issued           string
}

// asked is a river with all that the front page knows of it.
type asked struct {
	river forecast.River
	head  head
	state *State
	trip  trip.River
	v     *verdict.River
}

func (s *site) home(r *http.Request) (*answer, error) {
	u := unitsOf(r.Context())
	group := s.groupAsked(r)
	var all []*asked
	var body homePage
	for _, river := range s.Data.Rivers() {
		h, st, err := s.head(r, river)
		if err != nil {
			return nil, err
		}
		if st == nil {
			body.Missing = append(body.Missing, h)
			continue
		}
		all = append(all, &asked{river: river, head: h, state: st, trip: trip.River{Outlook: st.Outlook, Flows: st.Flows, Caution: &h.judged}})
	}
	v := s.verdictOf(all, group, u)
	for i := range v.Rivers {
		all[i].v = &v.Rivers[i]
	}
	body.Groups, body.Only = s.groupChoices(all, group)
	body.Today, body.Fortnight = s.todayOf(all, u), s.fortnightOf(v, all, u)
	if t, f := body.Today, body.Fortnight; t != nil && t.River == f.River && f.Flow != nil && forecast.ReadingReaches(all[0].head.Today, v.First.From) && v.Answer != verdict.Water {
		f.Flow = &cautionLine{Lead: "Flow on these days", Text: []string{forecast.UpperFirst(v.First.Flow.Words)}} // the box beside it has the reading
	}
	ranked := slices.Clone(all)
	slices.SortStableFunc(ranked, byWorth)
	s.strips(&body, ranked, group, u)
	s.places(&body, v, ranked, u)
	body.Warm = u.Temperature(trip.WarmC)
	return &answer{name: "home", title: "Where to go", here: "rivers", body: body}, nil
}

func (s *site) verdictOf(all []*asked, group string, u wading.Units) verdict.Verdict {
	rivers := make([]trip.River, len(all))
	for i, a := range all {
		rivers[i] = a.trip
	}
	q := verdict.Question{Now: s.Now(), Days: stripDays, Units: u}
	if group != "" {
		q.Groups = []string{group}
	}
	return verdict.Of(q, rivers, s.Catalogue.Group)
}

// byWorth puts rivers with days worth being there for first.
func byWorth(a, b *asked) int {
	rank := func(x *asked) int {
		switch {
		case x.v == nil || x.v.Best == nil:
			return 3
		case x.v.Stale:
			return 2
		case x.v.Shut || !x.v.Matters:
			return 1
		}
		return 0
	}
	worth := func(x *asked) float64 {
		if x.v == nil || x.v.Best == nil {
			return 0
		}
		return x.v.Best.Worth
	}
	return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(worth(b), worth(a)))
}

// groupAsked is the one group that the address asks for; empty for all.
func (s *site) groupAsked(r *http.Request) string {
	if g := r.URL.Query().Get("group"); s.groups[g] != nil {
		return g
	}
	return ""
}

// groupChoices lists the groups of the rivers for the filter, by name.
func (s *site) groupChoices(all []*asked, group string) (out []choice, only string) {
	have := map[string]bool{}
	for _, a := range all {
		for i := range a.state.Outlook.Stages {
			st := &a.state.Outlook.Stages[i]
			if have[st.Group] || !st.Fishable || st.Elsewhere && st.Group != group {
				continue
			}
			have[st.Group] = true
			out = append(out, choice{Key: st.Group, Name: forecast.UpperFirst(st.Name), On: st.Group == group})
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Name < out[j].Name })
	if group != "" {
		only = groupName(group)
	}
	return out, only
}

func (s *site) strips(body *homePage, ranked []*asked, group string, u wading.Units) {
	if len(ranked) == 0 {
		return
	}
	today := ranked[0].head.Today
	body.Heads = dayHeads(today, stripDays)
	flowTo := today + stripDays
	for i, a := range ranked {
		best := ""
		if b := a.v.Best; b != nil && a.v.Matters {
			best = trip.Span(b.From, b.To)
		}
		if i >= stripsShown {
			body.More = append(body.More, lineOf(a, best, u))
			continue
		}
		x := riverStrip{head: a.head, Best: best, Status: statusLine(a, best, u), Cells: s.cellsOf(a.trip, group, today, stripDays)}
		for k := range x.Cells {
			c := &x.Cells[k]
			if b := a.v.Best; best != "" && c.Date >= b.From && c.Date <= b.To && !a.v.Shut {
				c.Best = true
			}
			x.Chance = append(x.Chance, "–")
			for _, d := range a.v.Days {
				if d.Date == c.Date {
					x.Chance[k] = strings.TrimSuffix(forecast.Percent(d.Chance), "%")
					c.High, c.Warm = riskUnknown, riskUnknown
					if d.Flow.Known {
						c.High = riskOf(d.Flow.P)
					}
					if d.Warm.Known {
						c.Warm = riskOf(d.Warm.P)
					}
				}
			}
		}
		if f := a.state.Outlook.Flow; f != nil && len(f.Days) > 0 {
			flowTo = min(flowTo, f.Days[len(f.Days)-1].Date)
		}
		label := fmt.Sprintf("%s, the likeliest hatch and egg-laying flight by day", a.river.Name)
		if best != "" {
			label += "; best " + best
		}
		x.Swell = swell(x.Cells, label)
		body.Strips = append(body.Strips, x)
	}
	if flowTo < today+stripDays-1 {
		body.FlowTo = weekday(flowTo)
	}
}

// lineOf is a river in the list of the others: when, what, how likely, the flow.
func lineOf(a *asked, best string, u wading.Units) riverLine {
	l := riverLine{Slug: a.river.Slug, Name: a.river.Name}
	if a.head.Line.Strong {
		l.Strong = forecast.UpperFirst(shortLevel(a.head.judged))
	}
	for _, w := range a.head.Warnings {
		l.Strong = strings.TrimPrefix(l.Strong+". Official warning: "+w.Event, ". ")
	}
	if best == "" {
		l.Status = "Nothing worth a journey"
	} else {
		l.Status = fmt.Sprintf("%s: %s, %s", best, catchNames(a.v.Best.Catches), whole(forecast.Percent(a.v.Best.Chance)))
	}
	l.Status += ". Flow: " + tableFlow(a.state, u) + "."
	return l
}

// statusLine is a river in one line beside its strip: first the no, if there is one.
func statusLine(a *asked, best string, u wading.Units) string {
	var out []string
	if a.head.Line.Strong {
		out = append(out, strings.TrimSpace(a.head.Line.Lead+" "+highUntil(a.state, a.head.Today)))
		if a.river.Regulated {
			out = append(out, "Below a dam: it can rise without warning")
		}
	}
	switch {
	case a.v.Stale:
		out = append(out, "The newest forecast is from "+weekday(forecast.DateOf(a.v.IssuedAt)))
	case best == "":
		out = append(out, "Nothing worth a journey in these two weeks")
	case a.v.Shut && trip.WarmC > 0 && a.v.Best.Warm.Known && a.v.Best.Warm.P >= someFrom:
		out = append(out, fmt.Sprintf("Insects best %s: %s; likely too warm for trout", best, catchNames(a.v.Best.Catches)))
	case a.v.Shut:
		out = append(out, fmt.Sprintf("Insects best %s: %s; likely too high then", best, catchNames(a.v.Best.Catches)))
	default:
		out = append(out, fmt.Sprintf("Best %s: %s", best, catchNames(a.v.Best.Catches)))
	}
	if !a.head.Line.Strong && a.state.Caution.Flow.Present {
		out = append(out, forecast.UpperFirst(strings.TrimPrefix(flowSentence(a.state, a.head.judged, u), "")))
	}
	if n := a.state.Outlook.Seasons; n < fewSeasons {
		out = append(out, fmt.Sprintf("%d past seasons of water temperature: the dates are no better than the calendar's", n))
	}
	return strings.Join(out, ". ") + "."
}

// fewSeasons is the least number of past seasons of water temperature with which a
// river's dates may be better than the calendar's. Our own default.
const fewSeasons = 2

func catchNames(catches []verdict.Catch) string {
	var out []string
	for _, c := range catches {
		if len(out) == 0 || out[len(out)-1] != c.Name {
			out = append(out, c.Name)
		}
	}
	return strings.Join(out, ", ")
}

// places fills in how the gauges stand now and where they lie.
func (s *site) places(body *homePage, v verdict.Verdict, ranked []*asked, u wading.Units) {
	first := ""
	if v.First != nil {
		first = v.First.River
	} else if len(ranked) > 0 {
		first = ranked[0].river.Slug
	}
	var spots []spot
	home := spot{}
	for _, a := range ranked {
		p := spot{Name: a.river.Name, Lat: a.river.Lat, Lon: a.river.Lon, First: v.First != nil && a.river.Slug == first}
		switch {
		case a.head.Line.Strong:
			p.Status = twoLines(shortLevel(a.head.judged))
		case a.v.Best != nil && a.v.Matters:
			p.Status = "best " + strings.Replace(trip.Span(a.v.Best.From, a.v.Best.To), " to ", "\nto ", 1)
		}
		if a.river.Slug == first {
			home, body.FarFrom = p, a.river.Name
		}
		spots = append(spots, p)
	}
	body.Sketch = sketch(spots, u)
	for i, a := range ranked {
		g := gaugeRow{Slug: a.river.Slug, Name: a.river.Name, Flow: tableFlow(a.state, u), Water: "no reading", Read: a.head.ReadAt, Strong: a.head.Line.Strong, Far: "–"}
		if w := a.state.Caution.Water; w.Present {
			g.Water = u.Alone().Temperature(w.Value)
		}
		if a.river.Slug != first {
			g.Far = distance(apartKm(home, spots[i]), u)
		}
		if i < sketchMost {
			body.Gauges = append(body.Gauges, g)
		}
	}
	if len(ranked) < 2 {
		body.FarFrom = ""
	}
	var newest time.Time
	for _, a := range ranked {
		if t := a.state.Outlook.IssuedAt; t.After(newest) {
			newest = t
			body.Issued = t.In(forecast.ZoneOf(a.river.Zone)).Format("Mon 2 Jan 2006, 15:04 MST")
		}
	}
}

// shortLevel is a caution of level 2 or 3, or an unknown one, in two or three words.
func shortLevel(c wading.Caution) string {
	if c.Level >= wading.BetterNot {
		return c.Level.Words()
	}
	return "caution unknown, look first"
}

// twoLines breaks some words near their middle.
func twoLines(s string) string {
	best := -1
	for i, c := range s {
		if c == ' ' && (best < 0 || max(i, len(s)-i) < max(best, len(s)-best)) {
			best = i
		}
	}
	if best < 0 {
		return s
	}
	return s[:best] + "\n" + s[best+1:]
}

// address joins a path and a query.
func address(path string, q url.Values) string { return path + "?" + q.Encode() }
