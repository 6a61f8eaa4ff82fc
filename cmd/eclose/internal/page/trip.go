package page

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
)

// choice is a river or a group in a form.
type choice struct {
	Key, Name string
	On        bool
}

// stayView is a stay as the page lays it out.
type stayView struct {
	Slug, Name, Dates string
	Catches           []catchView
	Sure, SureText    string
}

// tripRiver is one river in the grid of weeks.
type tripRiver struct {
	Name  string
	Weeks []weekCell
}

// tieLine is one line of the tying list.
type tieLine struct {
	Name, Sizes, For, How string
	Take, InBox, ToTie    int
	By                    string
}

// tripPage is the form of a trip with what came of it.
type tripPage struct {
	Asked    string // what was asked, in a line
	Heading  string
	First    stayView
	Flow     *cautionLine
	Second   *stayView
	Costs    []string // what the second choice costs and gains
	Shifts   []string // what a week earlier or later would come to
	Not      []string // weeks that the water spoils
	Heads    []string
	Grid     []tripRiver
	Tie      []tieLine
	TieN     int
	TieBy    string
	HasBox   bool
	Notices  []cautionLine // of rivers to keep out of now
	From, To string
	Days     int
	Rivers   []choice
	Groups   []choice
	Some     bool // groups are chosen
	Fault    string
	Trip     *trip.Trip
	Calendar string // address of the .ics
	Watch    string // address of the subscription
}

func (s *site) trip(r *http.Request) (*answer, error) {
	body, err := s.plan(r)
	if err != nil {
		return nil, err
	}
	return &answer{name: "trip", title: "Plan a trip", here: "trip", body: body}, nil
}

func (s *site) tripCalendar(w http.ResponseWriter, r *http.Request) {
	r = s.withUnits(w, r)
	body, err := s.plan(r)
	if err == nil && body.Trip == nil {
		err = errNotFound
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	var b bytes.Buffer
	if err := body.Trip.WriteICS(&b); err != nil {
		s.fail(w, r, err)
		return
	}
	s.send(w, r, &answer{raw: b.Bytes(), kind: "text/calendar; charset=utf-8", file: "trip.ics"})
}

// plan reads the form from the address and plans, if it is filled in.
func (s *site) plan(r *http.Request) (*tripPage, error) {
	q := r.URL.Query()
	p := &tripPage{From: cutTo(q.Get("from"), 10), To: cutTo(q.Get("to"), 10), Days: trip.DefaultDays}
	if n, err := strconv.Atoi(q.Get("days")); err == nil && n > 0 && n < 100 {
		p.Days = n
	}
	var rivers []trip.River
	var strong []head
	groupsHere := map[string]bool{}
	for _, river := range s.Data.Rivers() {
		on := slices.Contains(q["river"], river.Slug)
		p.Rivers = append(p.Rivers, choice{river.Slug, river.Name, on})
		st, err := s.Data.State(r.Context(), river.Slug)
		if err != nil {
			return nil, fmt.Errorf("reading the state of %s: %w", river.Slug, err)
		}
		if st == nil || st.Outlook == nil {
			continue
		}
		for i := range st.Outlook.Stages {
			if st.Outlook.Stages[i].Fishable {
				groupsHere[st.Outlook.Stages[i].Group] = true
			}
		}
		if on || len(q["river"]) == 0 {
			h, _, err := s.head(r, river)
			if err != nil {
				return nil, err
			}
			if h.Line.Strong {
				strong = append(strong, h)
			}
			rivers = append(rivers, trip.River{Outlook: st.Outlook, Flows: st.Flows, Caution: &h.judged})
		}
	}
	ask := trip.Ask{Days: p.Days, Units: unitsOf(r.Context())}
	for key := range groupsHere {
		on := slices.Contains(q["group"], key)
		p.Some = p.Some || on
		p.Groups = append(p.Groups, choice{key, groupName(key), on})
		if on {
			ask.Groups = append(ask.Groups, key)
		}
	}
	sort.Slice(p.Groups, func(i, j int) bool { return p.Groups[i].Name < p.Groups[j].Name })
	slices.Sort(ask.Groups)
	if p.From == "" && p.To == "" {
		today := s.Now()
		p.From, p.To = today.AddDate(0, 0, 14).Format(time.DateOnly), today.AddDate(0, 0, 55).Format(time.DateOnly)
		return p, nil
	}
	from, err1 := time.Parse(time.DateOnly, p.From)
	to, err2 := time.Parse(time.DateOnly, p.To)
	if err1 != nil || err2 != nil {
		p.Fault = "Use year-month-day for both dates, e.g. 2026-06-10."
		return p, nil
	}
	ask.From, ask.To = forecast.DateOf(from), forecast.DateOf(to)
	if err := ask.Check(); err != nil {
		p.Fault = forecast.UpperFirst(err.Error()) + "."
		return p, nil
	}
	t, err := trip.Plan(ask, rivers, s.Catalogue.Group)
	switch {
	case errors.Is(err, trip.ErrNothing):
		p.Fault = "No forecast covers these dates." + reach(rivers)
		return p, nil
	case errors.Is(err, trip.ErrNotHere):
		p.Fault = "None of the chosen rivers has a forecast of these insects. Choose others, or none for all."
		return p, nil
	case err != nil:
		return nil, err
	}
	p.Trip = t
	p.Notices = noticesOf(strong, t)
	p.lay(s, t, rivers)
	p.link(t, q["river"])
	return p, nil
}

// link sets the addresses that carry the plan on.
func (p *tripPage) link(t *trip.Trip, rivers []string) {
	link := url.Values{"from": {p.From}, "to": {p.To}, "days": {strconv.Itoa(p.Days)}, "river": rivers, "group": t.Ask.Groups}
	p.Calendar = "/trip.ics?" + link.Encode()
	p.Asked = p.askedFor()
	watch := url.Values{"river": {t.First.River}, "group": t.Ask.Groups}
	if t.Second != nil && t.Second.River != t.First.River {
		watch.Add("river", t.Second.River)
	}
	p.Watch = "/subscribe?" + watch.Encode()
}

func cutTo(s string, n int) string { return s[:min(len(s), n)] }
