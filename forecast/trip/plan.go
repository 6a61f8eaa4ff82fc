package trip

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast"
)

// Stay is some days at one river.
type Stay struct {
	River     string        `json:"river"`
	RiverName string        `json:"river_name"`
	From      forecast.Date `json:"from"`
	To        forecast.Date `json:"to"` // included
	// Chance is the mean over the days of the chance that at least one of the first
	// few stages (see Best) shows to somebody who watches in its hours.
	Chance         float64 `json:"chance"`
	Calendar       float64 `json:"chance_calendar"` // the same from the calendar alone
	AtLeast        float64 `json:"chance_at_least"` // the likeliest single one of them: true however they hang together
	Stages         float64 `json:"stages_expected"` // on a day, of those that one travels for: the first two ranks of the catalogue, or the ask's own
	StagesCalendar float64 `json:"stages_calendar"` // the same from the calendar alone
	Flow           Odds    `json:"flow"`
	// Fishable is the chance of fishable flow by day, of the stays that are shown.
	Fishable []FishableDay `json:"fishable_by_day,omitempty"`
	Warm     Odds          `json:"warm_water"`
	// Worth puts stays in order: what its days are worth being there for, times the
	// chance that neither flow nor warm water spoils them. Unknown odds count as even.
	// UsualError is by how much it usually errs. Neither is ever printed.
	Worth      float64  `json:"worth"`
	UsualError float64  `json:"worth_usual_error"`
	Likely     []Likely `json:"likeliest"` // what is most worth being there for first
	named      int
	outlook    *forecast.Outlook
}

// Likely is one stage during a stay.
type Likely struct {
	Group      string                `json:"group"`
	Name       string                `json:"name"`
	Stage      forecast.Stage        `json:"stage"`
	Chance     float64               `json:"chance"`          // mean over the days
	Calendar   float64               `json:"chance_calendar"` // the same from the calendar alone
	Hours      forecast.Hours        `json:"hours"`
	Grade      forecast.EvidenceCode `json:"grade"`
	BestDay    forecast.Date         `json:"best_day,omitempty"` // of a stage still to come
	worth      float64
	background bool
	stage      *forecast.StageOutlook
}

// Background reports whether the stage is there all year or without a season of its own.
func (l Likely) Background() bool { return l.background }

// Outlook is the whole forecast of the stage.
func (l Likely) Outlook() *forecast.StageOutlook { return l.stage }

// Trip is the answer to an ask.
type Trip struct {
	Ask      Ask       `json:"ask"`
	IssuedAt time.Time `json:"issued_at"` // of the newest outlook
	Weeks    []Stay    `json:"weeks"`     // best first
	First    Stay      `json:"first_choice"`
	Second   *Stay     `json:"second_choice,omitempty"`
	Earlier  *Stay     `json:"a_week_earlier,omitempty"` // at the river of the first choice
	Later    *Stay     `json:"a_week_later,omitempty"`
	// Draw reports that the first choice leads the second by less than the two usually err.
	Draw bool `json:"too_close_to_call"`
	// Invite reports that the plan may be put as "go"; see River.Invites.
	Invite     bool          `json:"invite"`
	Confidence []string      `json:"how_sure"`
	Risks      []string      `json:"what_would_change_it"`
	LookAgain  forecast.Date `json:"look_again"`
	BoxReady   forecast.Date `json:"box_ready"` // the eve of the first choice
	Tying      []Fly         `json:"tying_list"`
	Caution    string        `json:"caution"`
}

// Faults of a plan.
var (
	// ErrNothing is wrapped where no outlook covers the days asked for.
	ErrNothing = errors.New("no forecast covers these dates")
	// ErrNotHere is wrapped where no river has a group that is asked for.
	ErrNotHere = errors.New("not forecast at these rivers")
)

// Plan puts the weeks of the rivers in order, and finds the best stay, a second
// choice and what to tie for the first. The same arguments give the same trip.
func Plan(ask Ask, rivers []River, groups Groups) (*Trip, error) {
	if err := ask.Check(); err != nil {
		return nil, fmt.Errorf("planning a trip: %w", err)
	}
	t := &Trip{Ask: ask, Caution: forecast.StandingCaution}
	s := search{ask: ask, by: map[string]*days{}}
	for _, r := range rivers {
		if d := tally(ask, r, groups); d != nil {
			s.by[r.Outlook.River] = d
			if r.Outlook.IssuedAt.After(t.IssuedAt) {
				t.IssuedAt = r.Outlook.IssuedAt
			}
			s.add(d)
		}
	}
	if len(s.by) == 0 && len(ask.Groups) > 0 && len(rivers) > 0 {
		return nil, fmt.Errorf("planning a trip: %s: %w", strings.Join(ask.Groups, ", "), ErrNotHere)
	}
	if len(s.stays) == 0 {
		return nil, fmt.Errorf("planning a trip: %w (%s to %s)", ErrNothing, ask.From, ask.To)
	}
	sort.SliceStable(s.weeks, func(i, j int) bool { return better(s.weeks[i], s.weeks[j]) < 0 })
	sort.SliceStable(s.stays, func(i, j int) bool { return better(s.stays[i], s.stays[j]) < 0 })
	t.Weeks = s.weeks
	for i := range t.Weeks {
		s.by[t.Weeks[i].River].fill(&t.Weeks[i])
	}
	t.First = s.stays[0]
	t.Second = second(s.stays)
	home := s.by[t.First.River]
	t.Earlier, t.Later = home.moved(t.First, -weekApart), home.moved(t.First, weekApart)
	for _, x := range []*Stay{&t.First, t.Second} {
		if x != nil {
			s.by[x.River].fill(x)
		}
	}
	t.Draw = t.Second != nil && Close(t.First, *t.Second)
	t.Invite = home.river.Invites()
	issue := t.First.outlook.IssueDate()
	t.BoxReady = max(issue, t.First.From-1)
	t.LookAgain = max(issue, t.First.From-weatherReach)
	t.Confidence, t.Risks = t.confidence(), t.risks()
	t.Tying = tying(t.First, groups)
	return t, nil
}

// search collects the weeks and the stays of all rivers.
type search struct {
	ask          Ask
	by           map[string]*days // by river
	weeks, stays []Stay
}

func (s *search) add(d *days) {
	for from := s.ask.From; from <= s.ask.To; from += 7 {
		if x, ok := d.stay(from, min(from+6, s.ask.To)); ok {
			s.weeks = append(s.weeks, x)
		}
	}
	length := forecast.Date(s.ask.Days)
	for from := s.ask.From; from+length-1 <= s.ask.To; from++ {
		if x, ok := d.stay(from, from+length-1); ok {
			s.stays = append(s.stays, x)
		}
	}
}

// weekApart is how far a stay is moved to see what another week would cost, days: no
// day further outside the ask is looked at.
const weekApart = 7

// moved is a stay at the same river some days later, or earlier; nil where the outlook
// does not cover it.
func (d *days) moved(s Stay, by forecast.Date) *Stay {
	x, ok := d.stay(s.From+by, s.To+by)
	if !ok {
		return nil
	}
	d.fill(&x)
	return &x
}

// Close reports whether the better of two stays leads by less than the two usually err.
func Close(a, b Stay) bool {
	return math.Abs(a.Worth-b.Worth) < math.Hypot(a.UsualError, b.UsualError)
}

// second is the best stay at another river, since what spoils the first choice
// spoils its neighbours in time too; of a single river, the best one that lies a
// week apart. nil if there is none.
func second(stays []Stay) *Stay {
	var apart *Stay
	for i := range stays {
		s := stays[i]
		if s.River != stays[0].River {
			return &s
		}
		if apart == nil && (s.From >= stays[0].To+7 || s.To <= stays[0].From-7) {
			apart = &s
		}
	}
	return apart
}

// weatherReach is how many days before a stay a weather forecast begins to say
// something of it. Our own default.
const weatherReach = 7

// better puts stays in order: by worth, then the earlier one.
func better(a, b Stay) int {
	return cmp.Or(cmp.Compare(b.Worth, a.Worth), cmp.Compare(a.From, b.From), cmp.Compare(a.River, b.River))
}

// days are the daily figures of one river.
type days struct {
	ask    Ask
	river  River
	groups Groups
	day0   forecast.Date
	stages []*forecast.StageOutlook
	weight []float64 // what each stage counts
	minor  []bool    // it is there all year or without a season
	travel []bool    // it is one to travel for
	worth  []float64 // of what shows, by day from day0, whatever the water does
	open   []float64 // chance that neither flow nor warm water spoils the day
}

// tally works out the daily figures; nil where the outlook has no stage that is
// asked for.
func tally(ask Ask, r River, groups Groups) *days {
	d := &days{ask: ask, river: r, groups: groups}
	for i := range r.Outlook.Stages {
		s := &r.Outlook.Stages[i]
		if !ask.cares(s) || s.Days.Len() == 0 {
			continue
		}
		g, _ := groups(s.Group)
		d.stages = append(d.stages, s)
		d.weight = append(d.weight, counts(ask, r.Outlook, s, g))
		d.minor = append(d.minor, Background(s, g) && len(ask.Groups) == 0)
		d.travel = append(d.travel, d.weight[len(d.weight)-1] >= travelFrom)
	}
	if len(d.stages) == 0 {
		return nil
	}
	first, last := d.stages[0].Days.From, d.stages[0].Days.From
	for _, s := range d.stages {
		first, last = min(first, s.Days.From), max(last, s.Days.From+forecast.Date(s.Days.Len()-1))
	}
	// Beyond the earlier end of what the stages and the water cover nothing is shown.
	if n := len(r.Outlook.Water); n > 0 {
		last = min(last, r.Outlook.Water[n-1].Date)
	}
	first, last = max(first, ask.From-weekApart), min(last, ask.To+weekApart)
	d.day0 = first
	n := max(0, int(last-first)+1)
	d.worth, d.open = make([]float64, n), make([]float64, n)
	weighted := make([]float64, 0, len(d.stages))
	issue := r.Outlook.IssueDate()
	for i := range n {
		at := first + forecast.Date(i)
		weighted = weighted[:0]
		for k, s := range d.stages {
			if x, ok := s.On(at); ok {
				weighted = append(weighted, d.weight[k]*x.P)
			}
		}
		d.worth[i] = worthOf(weighted)
		if at >= issue {
			d.open[i] = unspoiled(flowOdds(r, at, at, ask.Units), warmOdds(r.Outlook, at, at, ask.Units))
		}
	}
	return d
}

// covers reports whether the outlook says something of a day.
func (d *days) covers(at forecast.Date) bool {
	return at >= d.river.Outlook.IssueDate() && at >= d.day0 && int(at-d.day0) < len(d.worth)
}

// stay sums up some days; false where the outlook does not cover them.
func (d *days) stay(from, to forecast.Date) (Stay, bool) {
	a, b := int(from-d.day0), int(to-d.day0)
	o := d.river.Outlook
	if to < from || !d.covers(from) || !d.covers(to) {
		return Stay{}, false
	}
	s := Stay{River: o.River, RiverName: o.RiverName, From: from, To: to, outlook: o}
	for k, st := range d.stages {
		p, calendar := chance(st, from, to)
		l := Likely{Group: st.Group, Name: st.Name, Stage: st.Stage, Chance: p, Calendar: calendar, Hours: st.Hours, Grade: st.Grade, stage: st, worth: d.weight[k] * p, background: d.minor[k]}
		if d.travel[k] {
			s.Stages += p
			s.StagesCalendar += calendar
		}
		s.Likely = append(s.Likely, l)
	}
	s.Flow, s.Warm = flowOdds(d.river, from, to, d.ask.Units), warmOdds(o, from, to, d.ask.Units)
	for i := a; i <= b; i++ {
		s.Worth += d.worth[i] * d.open[i] / float64(b-a+1)
	}
	return s, true
}

// fill works out what only a stay that is shown needs, and drops what hardly counts.
func (d *days) fill(s *Stay) {
	s.name()
	s.Fishable = fishableByDay(d.river, s.From, s.To)
	s.UsualError = d.usualError(s)
	n := s.named
	s.Likely = slices.DeleteFunc(s.Likely, func(l Likely) bool { return l.Chance < 0.03 })
	s.named = min(n, len(s.Likely))
	s.Likely = slices.Clone(s.Likely[:min(len(s.Likely), 2*shown)]) // without the room of the others
}

// shown is how many of a stay's stages are shown.
const shown = 6

// chance is the mean over some days of a stage's chance, by the water and by the
// calendar alone.
func chance(s *forecast.StageOutlook, from, to forecast.Date) (p, calendar float64) {
	for d := from; d <= to; d++ {
		if x, ok := s.On(d); ok {
			p, calendar = p+x.P, calendar+x.PCalendar
		}
	}
	n := float64(to-from) + 1
	return p / n, calendar / n
}
