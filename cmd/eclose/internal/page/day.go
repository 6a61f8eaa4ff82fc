package page

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/sun"
	"example.org/eclose/model/wading"
)

// dayLeast is the least chance for which a stage is told on the page of a day.
// Our own default.
const dayLeast = 0.03

// likelyFrom is the chance from which a stage is among those listed first, and
// flowStrong the share of past days at too much flow from which that is told as
// strongly as a caution. Our own defaults.
const (
	likelyFrom = 0.2
	flowStrong = 0.33
)

type dayLine struct {
	chanceLine
	Strip        template.HTML
	Presentation string
	Laying       string
}

func (s *site) day(r *http.Request) (*answer, error) {
	river, ok := s.river(r.PathValue("slug"))
	if !ok {
		return nil, errNotFound
	}
	t, err := time.Parse(time.DateOnly, r.PathValue("date"))
	if err != nil {
		return nil, errNotFound
	}
	h, st, err := s.head(r, river)
	if err != nil {
		return nil, err
	}
	date := forecast.DateOf(t)
	if st == nil || len(st.Outlook.Water) == 0 || date < st.Outlook.Water[0].Date || date > st.Outlook.Water[len(st.Outlook.Water)-1].Date {
		return nil, errNotFound
	}
	u := unitsOf(r.Context())
	var body struct {
		head
		Date, Before, After forecast.Date
		IsToday             bool
		Lead                int
		Lines, Rest         []dayLine // those of one chance in five and more; the others
		Clock               template.HTML
		Rise, Set           string
		Mean, Low, High     string
		Warmest, WarmestMay string
		Advice              string
		FlowOdds            trip.Odds
		FlowStrong          bool
		Dark                string
	}
	body.head, body.Date = h, date
	body.IsToday, body.Lead = date == h.Today, int(date-h.Today)
	if body.IsToday {
		body.Tab = "today"
	}
	if d := date - 1; d >= st.Outlook.Water[0].Date {
		body.Before = d
	}
	if d := date + 1; d <= st.Outlook.Water[len(st.Outlook.Water)-1].Date {
		body.After = d
	}
	zone := forecast.ZoneOf(river.Zone)
	rise, set := -1, -1
	if x := sun.Day(date.Time(), river.Lat, river.Lon); x.State == sun.Crosses {
		body.Rise, body.Set = x.Rise.In(zone).Format("15:04"), x.Set.In(zone).Format("15:04")
		rise, set = minuteOf(body.Rise), minuteOf(body.Set)
	}
	for _, c := range on(st.Outlook, date, dayLeast) {
		l := dayLine{chanceLine: c, Strip: strip(c, rise, set)}
		if g := s.groups[c.Group]; g != nil {
			l.Presentation = g.Presentation(insects.Stage(c.Stage))
			if !c.Up {
				l.Laying = g.OvipositionMode.Words()
			}
		}
		if c.P >= likelyFrom {
			body.Lines = append(body.Lines, l)
		} else {
			body.Rest = append(body.Rest, l)
		}
	}
	body.Clock = clock()
	body.Dark = dark(river, date, body.Lines)
	if w, ok := st.Outlook.WaterOn(date); ok {
		body.Mean, body.Low, body.High = u.Temperature(w.P50), u.Temperature(w.P10), u.Temperature(w.P90)
		body.Warmest, body.WarmestMay = u.Temperature(w.MaxP50), u.Temperature(w.MaxP90)
		if a := wading.AdviceFor(w.MaxP90); a != wading.FishNone {
			body.Advice = a.Words()
		}
	}
	body.FlowOdds = trip.FlowOdds(st.Flows, date, date, u)
	body.FlowStrong = !body.FlowOdds.Known || body.FlowOdds.P >= flowStrong
	return &answer{name: "day", title: fmt.Sprintf("%s on %s", river.Name, date.Time().Format("2 January 2006")), here: "rivers", body: body}, nil
}

// dark says what the light asks for where the hours shown reach into dusk or
// night.
func dark(river forecast.River, date forecast.Date, lines []dayLine) string {
	darkest := wading.Daylight
	for _, l := range lines {
		darkest = max(darkest, forecast.DarkestOf(l.Hours, date, river.Zone, river.Lat, river.Lon))
	}
	level, why := darkest.Asks()
	if level == wading.Quiet {
		return ""
	}
	return fmt.Sprintf("Some of these hours fall in %s. Caution at least %d then: %s.", why, level, level.Words())
}

// The strip of a day runs from 04:00 to midnight.
const stripFrom, stripTo = 4 * 60, 24 * 60

// strip draws the hours of a stage on the line of a day: above the line what
// leaves the water, below it what comes back.
func strip(c chanceLine, rise, set int) template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="reach strip" viewBox="0 -20 %d 40" preserveAspectRatio="none" role="img" aria-label="%s"><path class="month" d="`, stripTo-stripFrom, template.HTMLEscapeString("Hours: "+orUnknown(c.Hours)))
	for _, at := range []int{rise, set} {
		if at >= stripFrom {
			fmt.Fprintf(&b, "M%d-20v40", at-stripFrom)
		}
	}
	b.WriteString(`"/>`)
	class, y := "up", -14
	if !c.Up {
		class, y = "down", 0
	}
	for _, h := range spans(c.Hours) {
		fmt.Fprintf(&b, `<rect class="%s even" x="%d" y="%d" width="%d" height="14"/>`, class, h[0]-stripFrom, y, h[1]-h[0])
	}
	fmt.Fprintf(&b, `<path class="surface" d="M0 0h%d"/></svg>`, stripTo-stripFrom)
	return template.HTML(b.String()) //nolint:gosec // numbers and one escaped label
}

// clock names the hours over the strips.
func clock() template.HTML {
	var b strings.Builder
	b.WriteString(`<svg class="reach axis" height="22" aria-hidden="true">`)
	for h := 6; h < 24; h += 3 {
		fmt.Fprintf(&b, `<text class="tick" text-anchor="middle" x="%.1f%%" y="15">%02d:00</text>`, 100*float64(h*60-stripFrom)/(stripTo-stripFrom), h)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // numbers
}

// spans reads "10:45-12:45 and 20:00-22:00" back into minutes of the strip.
func spans(hours string) [][2]int {
	var out [][2]int
	for part := range strings.SplitSeq(hours, " and ") {
		from, to, ok := strings.Cut(part, "-")
		a, b := minuteOf(from), minuteOf(to)
		if !ok || a < 0 || b < 0 {
			continue
		}
		if b <= a { // past midnight
			b = stripTo
		}
		if a = max(a, stripFrom); b > a {
			out = append(out, [2]int{a, b})
		}
	}
	return out
}

func minuteOf(s string) int {
	h, m, ok := strings.Cut(s, ":")
	a, err1 := strconv.Atoi(h)
	b, err2 := strconv.Atoi(m)
	if !ok || err1 != nil || err2 != nil {
		return -1
	}
	return a*60 + b
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}
