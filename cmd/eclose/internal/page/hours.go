package page

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/sun"
	"example.org/eclose/model/wading"
)

// dayLeast is the least chance for which a stage is shown on the page of a day, and
// dayMost how many are shown before the others fold away. Our own defaults.
const (
	dayLeast = 0.1
	dayMost  = 5
)

// dayLine is one stage on the line of a day.
type dayLine struct {
	chanceLine
	PText, Verb  string
	CalendarText string
	HoursText    string
	Fly          string
	Picture      template.HTML
	Track        template.HTML
	Presentation string
	Laying       string
	Ask          string // "Did you see it?"; empty: not asked
	AskDate      string
}

// dayView is a day hour by hour.
type dayView struct {
	Slug        string
	HasDiary    bool
	Wordy       bool // with presentation and way of laying
	Amounts     []choice
	Lines, Rest []dayLine
	Clock       template.HTML
	Rise, Set   string
	Dark        string
}

// dayOf lists the stages of a day in the order of the day. now is negative for a day
// that is not today, else the minute of the day.
func (s *site) dayOf(river forecast.River, o *forecast.Outlook, date forecast.Date, now int) dayView {
	v := dayView{Slug: river.Slug, HasDiary: s.Diary != nil, Wordy: now < 0, Amounts: []choice{{Key: "none", Name: "None"}, {Key: "few", Name: "A few"}, {Key: "many", Name: "Many"}}}
	zone := forecast.ZoneOf(river.Zone)
	rise, set := -1, -1
	if x := sun.Day(date.Time(), river.Lat, river.Lon); x.State == sun.Crosses {
		v.Rise, v.Set = x.Rise.In(zone).Format("15:04"), x.Set.In(zone).Format("15:04")
		rise, set = minuteOf(v.Rise), minuteOf(v.Set)
	}
	for i, c := range s.worthiestFirst(o, on(o, date, dayLeast), date) {
		l := s.dayLine(c, rise, set, now)
		if now >= 0 {
			l.Ask, l.AskDate = askOf(c, date, now)
		}
		if i < dayMost {
			v.Lines = append(v.Lines, l)
		} else {
			v.Rest = append(v.Rest, l)
		}
	}
	byHour := func(a, b dayLine) int { return a.Hours.First() - b.Hours.First() }
	sort.SliceStable(v.Lines, func(i, j int) bool { return byHour(v.Lines[i], v.Lines[j]) < 0 })
	sort.SliceStable(v.Rest, func(i, j int) bool { return byHour(v.Rest[i], v.Rest[j]) < 0 })
	v.Clock = clock(now)
	v.Dark = dark(river, date, v.Lines)
	return v
}

// worthiestFirst puts the stages of a day in the order in which a trip would name them;
// on a day that is past, in the order of their chance.
func (s *site) worthiestFirst(o *forecast.Outlook, list []chanceLine, date forecast.Date) []chanceLine {
	a := trip.LookAhead(trip.Ask{From: date, To: date, Days: 1}, trip.River{Outlook: o}, s.Catalogue.Group)
	if a == nil {
		return list
	}
	stay := a.Stay(date, date)
	if stay == nil {
		return list
	}
	rank := func(c chanceLine) int {
		i := slices.IndexFunc(stay.Likely, func(l trip.Likely) bool { return l.Group == c.Group && l.Stage == c.Stage })
		if i < 0 {
			return len(stay.Likely)
		}
		return i
	}
	sort.SliceStable(list, func(i, j int) bool { return cmp.Compare(rank(list[i]), rank(list[j])) < 0 })
	return list
}

func (s *site) dayLine(c chanceLine, rise, set, now int) dayLine {
	l := dayLine{chanceLine: c, PText: whole(forecast.Percent(c.P)), CalendarText: whole(forecast.Percent(c.Calendar)), Verb: "hatches", HoursText: c.Hours.Words(),
		Picture: s.picture(c.Group), Track: track(c, rise, set, now)}
	if !c.Up {
		l.Verb = "lays eggs"
	}
	if g := s.groups[c.Group]; g != nil {
		fly := trip.PatternOf(g, c.Stage)
		l.Fly, l.Presentation = fly.Words(), g.Presentation(insects.Stage(c.Stage))
		if fly.OnLand {
			l.Verb = "falls on the water"
		}
		if !c.Up {
			l.Laying = g.OvipositionMode.Words()
		}
	}
	return l
}

// askOf asks about today once the hours of a stage have begun, before that about
// yesterday.
func askOf(c chanceLine, date forecast.Date, now int) (ask, day string) {
	first := c.Hours.First()
	switch {
	case now >= first:
		return "Did you see it?", date.String()
	case first >= 17*60:
		return "Seen last evening?", (date - 1).String()
	}
	return "Seen yesterday?", (date - 1).String()
}

// dark says what the light asks for where the hours shown reach into dusk or night.
func dark(river forecast.River, date forecast.Date, lines []dayLine) string {
	darkest := wading.Daylight
	for _, l := range lines {
		darkest = max(darkest, forecast.DarkestOf(l.Hours, date, river.Zone, river.Lat, river.Lon))
	}
	return darkest.OfHours()
}

// The line of a day runs from 04:00 to midnight.
const stripFrom, stripTo = 4 * 60, 24 * 60

// track draws the hours of a stage on the line of a day, as high as its chance: above
// the line what leaves the water, below it what comes back.
func track(c chanceLine, rise, set, now int) template.HTML {
	var b strings.Builder
	const wide = stripTo - stripFrom
	label := fmt.Sprintf("%s, %s: %s, %s", c.Name, c.Stage, cmp.Or(c.Hours.Words(), "unknown"), forecast.Percent(c.P))
	fmt.Fprintf(&b, `<svg class="reach track" viewBox="0 -100 %d 200" preserveAspectRatio="none" role="img" aria-label="%s">`, wide, template.HTMLEscapeString(label))
	if rise > stripFrom {
		fmt.Fprintf(&b, `<rect class="night" x="0" y="-100" width="%d" height="200"/>`, rise-stripFrom)
	}
	if set > stripFrom {
		fmt.Fprintf(&b, `<rect class="night" x="%d" y="-100" width="%d" height="200"/>`, set-stripFrom, stripTo-set)
	}
	b.WriteString(`<path class="month" d="`)
	for h := 6; h < 24; h += 3 {
		fmt.Fprintf(&b, "M%d-100v200", h*60-stripFrom)
	}
	fmt.Fprintf(&b, `M0-50h%[1]dM0 50h%[1]d"/>`, wide)
	class, high := "up", int(100*c.P+0.5)
	y := -high
	if !c.Up {
		class, y = "down", 0
	}
	for _, h := range c.Hours.Spans {
		from, to := max(h.From, stripFrom), min(h.To, stripTo)
		if to > from {
			fmt.Fprintf(&b, `<rect class="%s swell" x="%d" y="%d" width="%d" height="%d"/>`, class, from-stripFrom, y, to-from, high)
		}
	}
	fmt.Fprintf(&b, `<path class="surface" d="M0 0h%d"/>`, wide)
	if now >= stripFrom {
		fmt.Fprintf(&b, `<path class="today" d="M%d-100v200"/>`, now-stripFrom)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // numbers and one escaped label
}

// clock names the hours over the lines of a day, and now above them.
func clock(now int) template.HTML {
	var b strings.Builder
	x := func(m int) float64 { return 100 * float64(m-stripFrom) / (stripTo - stripFrom) }
	b.WriteString(`<svg class="reach axis" height="40" aria-hidden="true">`)
	for h := 6; h < 24; h += 3 {
		fmt.Fprintf(&b, `<text class="tick" text-anchor="middle" x="%.1f%%" y="34">%02d:00</text>`, x(h*60), h)
	}
	if now >= stripFrom {
		anchor, dx := "start", 5
		if x(now) > 75 {
			anchor, dx = "end", -5
		}
		fmt.Fprintf(&b, `<line class="today" x1="%.1[1]f%%" x2="%.1[1]f%%" y1="2" y2="20"/><text class="tick now" text-anchor="%[2]s" x="%.1[1]f%%" y="13" dx="%[3]d">now, %02[4]d:%02[5]d</text>`, x(now), anchor, dx, now/60, now%60)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // numbers
}

func minuteOf(s string) int {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return -1
	}
	return t.Hour()*60 + t.Minute()
}

// dayRow is a line with the day that it stands in.
type dayRow struct {
	Day  dayView
	Line dayLine
}

func pair(day dayView, line dayLine) dayRow { return dayRow{day, line} }
