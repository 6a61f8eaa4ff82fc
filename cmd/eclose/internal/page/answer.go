package page

import (
	"cmp"
	"fmt"
	"html/template"
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

// answerView is an answer as a page lays it out: heading, caution, catches, how
// sure, what the flow allows, what to press.
type answerView struct {
	ID, Kick, Heading string
	River             string // slug of the river that it speaks of; empty: none or several
	Slug              string // of the river that the heading links to; empty: none
	Caution           *cautionLine
	Intro             string
	Catches           []catchView
	Sure              string // its first words are strong
	SureText          string
	Notes             []string
	Flow              *cautionLine
	Avoid             []cautionLine
	Plan, Watch       string // addresses; empty: none
}

// catchView is one row: what, hours, fly, chance.
type catchView struct {
	Key, Name, Verb string
	Up              bool
	Stage           forecast.Stage
	P, Calendar     string
	Hours, Fly      string
	Dark            string
	Picture         template.HTML
}

func (s *site) catchOf(c verdict.Catch) catchView {
	x := catchView{Key: c.Group, Name: forecast.UpperFirst(c.Name), Verb: "hatches", Up: c.Stage == forecast.Emergence, Stage: c.Stage,
		P: whole(forecast.Percent(c.P)), Calendar: whole(forecast.Percent(c.Calendar)), Hours: c.Hours.Words(), Fly: c.Fly.Words(), Picture: s.picture(c.Group)}
	if !x.Up {
		x.Verb = "lays eggs"
	}
	if c.Fly.OnLand {
		x.Verb = "falls on the water"
	}
	if c.Dark >= wading.Night {
		x.Dark = "part of it in the dark"
	}
	return x
}

// catchesOf lists catches, the likeliest first.
func (s *site) catchesOf(list []verdict.Catch) []catchView {
	list = slices.Clone(list)
	sort.SliceStable(list, func(i, j int) bool { return cmp.Compare(list[j].P, list[i].P) < 0 })
	out := make([]catchView, len(list))
	for i, c := range list {
		out[i] = s.catchOf(c)
	}
	return out
}

func whole(s string) string { return strings.ReplaceAll(s, " ", "\u00a0") }

// todayOf is the answer for the rest of today.
func (s *site) todayOf(all []*asked, u wading.Units) *answerView {
	var best *asked
	for _, a := range all {
		if len(a.v.Today) == 0 || len(a.v.Days) == 0 {
			continue
		}
		if best == nil || better(a, best) {
			best = a
		}
	}
	if len(all) == 0 {
		return nil
	}
	v := &answerView{ID: "today", Kick: "Today, " + all[0].head.Today.Time().Format("Monday 2 January")}
	if best == nil {
		v.Heading = "Nothing more today"
		v.Intro = "No hatch or egg-laying flight worth the walk is left today."
		v.Avoid = avoid(all, nil, u)
		return v
	}
	line := best.head.Line
	v.Caution = &line
	v.Catches = s.catchesOf(mostLikely(best.v.Today, 3))
	v.Slug, v.River = best.river.Slug, best.river.Slug
	v.Heading = best.river.Name + ", " + partOfDay(best.v.Today, s.Now().In(forecast.ZoneOf(best.river.Zone)))
	if !best.v.Invite {
		v.Heading, v.Slug = noHeading(all), ""
		v.Intro = "Most likely on " + best.river.Name + ":"
		line.Lead = best.river.Name + ": " + lowerFirst(line.Lead)
		line.Past = best.river.Name + ": " + lowerFirst(line.Past)
	}
	v.Sure, v.SureText = forecast.UpperFirst(forecast.Likelihood(best.v.TodayChance))+": "+whole(forecast.Percent(best.v.TodayChance)), "that you see at least one of them."
	v.Avoid = avoid(all, best, u)
	return v
}

// better puts a river that may be named without a no before others, then the better day.
func better(a, b *asked) bool {
	if a.v.Invite != b.v.Invite {
		return a.v.Invite
	}
	return a.v.Days[0].Worth > b.v.Days[0].Worth
}

// noHeading heads a day on which no river may be gone to.
func noHeading(all []*asked) string {
	level := wading.KeepOut
	for _, a := range all {
		c := a.head.judged
		if !c.Known && c.Level < wading.BetterNot {
			return "Look at the river first: caution unknown"
		}
		level = min(level, c.Level)
	}
	if level < wading.BetterNot { // a warning is in force
		return "A warning is in force today"
	}
	return forecast.UpperFirst(level.Words()) + " now"
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// mostLikely keeps the n likeliest of some catches, in the order given.
func mostLikely(list []verdict.Catch, n int) []verdict.Catch {
	for len(list) > n {
		low := 0
		for i := range list {
			if list[i].P < list[low].P {
				low = i
			}
		}
		list = append(append([]verdict.Catch{}, list[:low]...), list[low+1:]...)
	}
	return list
}

// partOfDay names when today's catches show.
func partOfDay(list []verdict.Catch, now time.Time) string {
	first, last := 24*60, 0
	for _, c := range list {
		for _, x := range c.Hours.Spans {
			first, last = min(first, x.From), max(last, x.To)
		}
	}
	minute := now.Hour()*60 + now.Minute()
	switch {
	case last == 0:
		return "today"
	case first >= 17*60:
		return "this evening"
	case last <= 12*60+30:
		return "this morning"
	case first >= 11*60+30 && last <= 18*60, minute >= 12*60 && last <= 18*60:
		return "this afternoon"
	case max(first, minute) >= 12*60:
		return "afternoon and evening"
	}
	return "today"
}

// avoid are the rivers to keep out of, the worst first, each with its number; after
// three their names. Each is marked again where it stands in the lists below.
func avoid(all []*asked, but *asked, u wading.Units) []cautionLine {
	var out []cautionLine
	var more []string
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b *asked) int { return cmp.Compare(b.head.judged.Level, a.head.judged.Level) })
	for _, a := range all {
		if a == but || !a.head.Line.Strong {
			continue
		}
		if len(out) == 3 {
			more = append(more, a.river.Name)
			continue
		}
		l := cautionLine{Strong: true, Lead: "Not now: " + a.river.Name, Known: a.head.Line.Known, Until: a.head.Line.Until, Valid: a.head.Line.Valid,
			Past: a.river.Name + ": " + lowerFirst(a.head.Line.Past),
			Text: []string{strings.TrimSpace(a.head.Line.Lead + " " + highUntil(a.state, a.head.Today)), flowSentence(a.state, a.head.judged, u)}}
		if a.river.Regulated {
			l.Text = append(l.Text, "Below a dam: it can rise without warning")
		}
		out = append(out, l)
	}
	if len(more) > 0 {
		names := more[:min(len(more), 6)]
		text := strings.Join(names, ", ")
		if n := len(more) - len(names); n > 0 {
			text += fmt.Sprintf(" and %d more", n)
		}
		out = append(out, cautionLine{Strong: true, Lead: fmt.Sprintf("Not now: %d more", len(more)), Text: []string{text + ". Caution 2 or higher, or unknown; each is marked below"}})
	}
	return out
}

// fortnightOf is the answer for the next two weeks.
func (s *site) fortnightOf(v verdict.Verdict, all []*asked, u wading.Units) *answerView {
	x := &answerView{ID: "fortnight", Kick: "The next two weeks"}
	switch v.Answer {
	case verdict.Go, verdict.Water:
		s.choiceView(x, v, v.First, all, u)
		if v.Answer == verdict.Water {
			x.Heading = v.First.RiverName + ": insects good, water bad"
			x.Intro = trip.Span(v.First.From, v.First.To) + ":"
			x.Flow.Strong = true
		}
	case verdict.Draw:
		s.choiceView(x, v, v.First, all, u)
		a, b := v.First, v.Second
		x.Slug = ""
		x.Heading = fmt.Sprintf("%s, %s, or %s, %s", a.RiverName, trip.Span(a.From, a.To), b.RiverName, trip.Span(b.From, b.To))
		if a.From == b.From && a.To == b.To {
			x.Heading = fmt.Sprintf("%s or %s, %s", a.RiverName, b.RiverName, trip.Span(a.From, a.To))
		}
		x.Intro = a.RiverName + ":"
		x.Notes = append([]string{fmt.Sprintf("%s: %s, %s that you see at least one. The two are closer than the forecast usually errs: choose the nearer.", b.RiverName, catchNames(b.Catches), whole(forecast.Percent(b.Chance)))}, x.Notes...)
	case verdict.Nothing:
		x.Heading = "Nothing worth a journey"
		if c := v.Coming; c != nil {
			x.Intro = fmt.Sprintf("Next: %s on %s, from about %s, %s on its best day.", c.What(), v.ComingAt, c.From.Short(), whole(forecast.Percent(c.P)))
		}
	default:
		x.Heading = "No current forecast"
		x.Caution = &cautionLine{Strong: true, Lead: "Every forecast here is too old to answer", Text: []string{"It appears again after the next download"}}
	}
	return x
}

func (s *site) choiceView(x *answerView, v verdict.Verdict, c *verdict.Choice, all []*asked, u wading.Units) {
	x.Slug, x.River, x.Heading = c.River, c.River, c.RiverName+", "+trip.Span(c.From, c.To)
	x.Catches = s.catchesOf(c.Catches)
	x.Sure = forecast.UpperFirst(forecast.Likelihood(c.Chance)) + ": " + whole(forecast.Percent(c.Chance))
	x.SureText = fmt.Sprintf("on such a day that you see at least one; by the calendar alone %s.", whole(forecast.Percent(c.Calendar)))
	for _, k := range c.Catches {
		st := stageIn(all, c.River, k)
		if st == nil || st.AllYear {
			continue
		}
		if d := int(st.Window.Peak.P90-st.Window.Peak.P10) / 2; d >= 2 && k.Stage == c.Catches[0].Stage && k.Group == c.Catches[0].Group {
			x.Notes = append(x.Notes, fmt.Sprintf("%s may come %d days sooner or later.", forecast.UpperFirst(k.Name), d))
		}
	}
	for _, a := range all {
		if a.river.Slug == c.River {
			flow := cautionAhead(a.state, a.head.Line, c.Flow.Words, c.From, a.head.Today)
			if c.Warm.Known && c.Warm.P >= someFrom {
				flow.Text = append(flow.Text, "Too warm for trout: "+whole(forecast.Percent(c.Warm.P))+" of these days")
			}
			x.Flow = &flow
		}
	}
	q := url.Values{"from": {c.From.String()}, "to": {c.To.String()}, "days": {fmt.Sprint(int(c.To-c.From) + 1)}, "river": {c.River}}
	x.Plan = address("/trip", q)
	w := url.Values{"river": {c.River}}
	for _, k := range c.Catches {
		if !slices.Contains(w["group"], k.Group) {
			w.Add("group", k.Group)
		}
	}
	if s.Subscribe != nil {
		x.Watch = address("/subscribe", w)
	}
}

// stageIn finds the forecast of a catch.
func stageIn(all []*asked, river string, c verdict.Catch) *forecast.StageOutlook {
	for _, a := range all {
		if a.river.Slug != river {
			continue
		}
		for i := range a.state.Outlook.Stages {
			if st := &a.state.Outlook.Stages[i]; st.Group == c.Group && st.Stage == c.Stage {
				return st
			}
		}
	}
	return nil
}
