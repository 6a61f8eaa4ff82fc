package page

import (
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/model/wading"
)

// head is what stands at the top of everything about one river.
type head struct {
	Slug, Name string
	Tab        string // which page of the river this is
	Recent     string // how its water was, beside past seasons; empty: not known
	Missing    bool   // no outlook yet
	Problem    string
	Caution    wading.View
	Warnings   []officialWarning
	Worst      string // the first reason of the caution
	Water      string
	Flow       string
	O          *forecast.Outlook
	Today      forecast.Date
}

// judgedFor is how long a caution counts. Our own default: whoever judges them
// does so every minute, so an older one means that nobody does any more.
const judgedFor = 15 * time.Minute

func (s *site) head(r *http.Request, river forecast.River) (head, *State, error) {
	h := head{Slug: river.Slug, Name: river.Name, Missing: true}
	st, err := s.Data.State(r.Context(), river.Slug)
	if err != nil {
		return h, nil, fmt.Errorf("reading the state of %s: %w", river.Slug, err)
	}
	if st == nil || st.Outlook == nil {
		if st != nil {
			h.Problem, h.Warnings = st.Problem, warningLines(st.Warnings, river.Zone, s.Now())
		}
		return h, nil, nil
	}
	u := unitsOf(r.Context())
	h.Missing, h.Problem, h.O = false, st.Problem, st.Outlook
	caution, since := st.Caution, s.Now().Sub(st.CautionAt)
	if caution.Known && s.Now().After(caution.Until) || since > judgedFor {
		caution = caution.Expired()
	}
	h.Caution = caution.View(u)
	if len(h.Caution.Reasons) > 0 {
		h.Worst = h.Caution.Reasons[0].Text
	}
	h.Flow = readingText(st.Caution.Flow, since, u.Flow)
	h.Water = readingText(st.Caution.Water, since, u.Temperature)
	h.Warnings = warningLines(st.Warnings, river.Zone, s.Now())
	h.Today = localDay(st.Outlook, s.Now())
	if d := st.Outlook.Departure; d != nil {
		h.Recent = d.Words(st.Outlook.Seasons, u == wading.US)
	}
	return h, st, nil
}

// readingText is a reading with its age now.
func readingText(r wading.Reading, since time.Duration, print func(float64) string) string {
	if !r.Present {
		return "unknown"
	}
	out := print(r.Value) + ", " + ago(r.Age+since)
	if r.Doubt != "" {
		out += ", doubtful: " + r.Doubt
	}
	return out
}

func ago(d time.Duration) string {
	switch {
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min ago", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h ago", int(d.Hours()))
	}
	return fmt.Sprintf("%d days ago", int(d.Hours()/24))
}

// localDay is the civil date at the river.
func localDay(o *forecast.Outlook, now time.Time) forecast.Date {
	return forecast.DateOf(now.In(forecast.ZoneOf(o.Zone)))
}

// chanceLine is one stage with its chance on a day.
type chanceLine struct {
	Name, Group string
	Stage       forecast.Stage
	Up          bool
	P, Calendar float64
	Hours       string
	Grade       string
	Window      forecast.Window
	Why         string // how its season lies
}

// on lists the fishable stages of a day, the likeliest first.
func on(o *forecast.Outlook, d forecast.Date, least float64) []chanceLine {
	var out []chanceLine
	for i := range o.Stages {
		st := &o.Stages[i]
		x, ok := st.On(d)
		if !ok || !st.Fishable || x.P < least {
			continue
		}
		out = append(out, chanceLine{Name: upper(st.Name), Group: st.Group, Stage: st.Stage, Up: st.Stage == forecast.Emergence, P: x.P, Calendar: x.PCalendar, Hours: st.Hours, Grade: st.Grade, Window: st.Window})
	}
	slices.SortStableFunc(out, func(a, b chanceLine) int { return cmp.Compare(b.P, a.P) })
	return out
}

// opening lists the windows that open within some days.
func opening(o *forecast.Outlook, from forecast.Date, days int) []chanceLine {
	var out []chanceLine
	for i := range o.Stages {
		st := &o.Stages[i]
		if start := st.Window.Start.P50; st.Fishable && !st.AllYear && start > from && start <= from+forecast.Date(days) {
			out = append(out, chanceLine{Name: upper(st.Name), Group: st.Group, Stage: st.Stage, Up: st.Stage == forecast.Emergence, Window: st.Window, Why: st.Why()})
		}
	}
	slices.SortStableFunc(out, func(a, b chanceLine) int { return cmp.Compare(a.Window.Start.P50, b.Window.Start.P50) })
	return out
}

// Days and counts of the front page; our own.
const (
	homeDays   = 120
	homeStages = 4
	soonDays   = 21
)

// news is what a river's page begins with.
type news struct {
	Now, Soon []chanceLine
	MoreSoon  int // that open too
}

func newsOf(o *forecast.Outlook, today forecast.Date) news {
	now, soon := on(o, today, 0.1), opening(o, today, soonDays)
	n := news{Now: now[:min(len(now), homeStages)], Soon: soon[:min(len(soon), homeStages)]}
	n.MoreSoon = len(soon) - len(n.Soon)
	return n
}

type homeRiver struct {
	head
	news
	Row template.HTML
}

func (s *site) home(r *http.Request) (*answer, error) {
	var body struct {
		Axis   template.HTML
		Rivers []homeRiver
		Days   int
	}
	body.Days = homeDays
	for _, river := range s.Data.Rivers() {
		h, st, err := s.head(r, river)
		if err != nil {
			return nil, err
		}
		g := homeRiver{head: h}
		if st != nil {
			g.news = newsOf(st.Outlook, h.Today)
			p := abundance(st.Outlook, h.Today-14, homeDays)
			p.Today = int(h.Today - (h.Today - 14))
			g.Row = template.HTML(p.Row(0)) //nolint:gosec // our own drawing, its names escaped
			body.Axis = template.HTML(p.Axis())
		}
		body.Rivers = append(body.Rivers, g)
	}
	return &answer{name: "home", title: "Rivers at a glance", here: "rivers", body: body}, nil
}

// abundance draws how many stages are expected on each day: those that leave the
// water above the line, those that come back to it below.
func abundance(o *forecast.Outlook, from forecast.Date, days int) chart.Season {
	l := chart.Line{Name: o.RiverName + ": hatches and egg-laying flights expected each day"}
	for k, stage := range forecast.Stages {
		t := chart.Trace{Mid: make([]float64, days), Calendar: make([]float64, days)}
		for i := range o.Stages {
			st := &o.Stages[i]
			if st.Stage != stage || !st.Fishable {
				continue
			}
			for d := range days {
				if x, ok := st.On(from + forecast.Date(d)); ok {
					t.Mid[d] += x.P
					t.Calendar[d] += x.PCalendar
				}
			}
		}
		if k == 0 {
			l.Emergence = t
		} else {
			l.EggLaying = t
		}
	}
	// One scale for both sides and all rivers would hide the poorer ones; one for
	// both sides of a river keeps them comparable.
	top := 0.0
	for _, t := range []chart.Trace{l.Emergence, l.EggLaying} {
		for d := range days {
			top = max(top, t.Mid[d], t.Calendar[d])
		}
	}
	l.Emergence.High, l.EggLaying.High = nil, nil
	l.Emergence.Top, l.EggLaying.Top = top, top
	return chart.Season{Day0: from.Time(), Days: days, Today: -1, Lines: []chart.Line{l}}
}
