package trip

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/verify"
)

// Stay is some days at one river.
type Stay struct {
	River     string        `json:"river"`
	RiverName string        `json:"river_name"`
	From      forecast.Date `json:"from"`
	To        forecast.Date `json:"to"` // included
	// Chance is the mean over the days of the chance that at least one of the
	// stages asked for shows to somebody who watches in its hours. Of one group
	// the likelier stage counts; groups are taken as independent, since each has
	// parameters of its own.
	Chance         float64 `json:"chance"`
	Calendar       float64 `json:"chance_calendar"` // the same from the calendar alone
	AtLeast        float64 `json:"chance_at_least"` // the likeliest single stage: true however stages hang together
	Stages         float64 `json:"stages_expected"` // on a day
	StagesCalendar float64 `json:"stages_calendar"` // the same from the calendar alone
	Flow           Odds    `json:"flow"`
	Warm           Odds    `json:"warm_water"`
	// Worth puts stays in order: the chance that a day shows something and
	// neither flow nor warm water spoils it. Unknown odds count as even.
	Worth   float64  `json:"worth"`
	Likely  []Likely `json:"likeliest"`
	outlook *forecast.Outlook
}

// Likely is one stage during a stay.
type Likely struct {
	Group  string         `json:"group"`
	Name   string         `json:"name"`
	Stage  forecast.Stage `json:"stage"`
	Chance float64        `json:"chance"` // mean over the days
	Hours  string         `json:"hours"`
	Grade  string         `json:"grade"`
	stage  *forecast.StageOutlook
}

// Trip is the answer to an ask.
type Trip struct {
	Ask        Ask           `json:"ask"`
	IssuedAt   time.Time     `json:"issued_at"` // of the newest outlook
	Weeks      []Stay        `json:"weeks"`     // best first
	First      Stay          `json:"first_choice"`
	Second     *Stay         `json:"second_choice,omitempty"`
	Confidence []string      `json:"how_sure"`
	Risks      []string      `json:"what_would_change_it"`
	LookAgain  forecast.Date `json:"look_again"`
	BoxReady   forecast.Date `json:"box_ready"` // the eve of the first choice
	Tying      []Fly         `json:"tying_list"`
	Caution    string        `json:"caution"`
}

// ErrNothing is wrapped where no outlook covers the days asked for.
var ErrNothing = errors.New("no forecast covers these dates")

// Plan puts the weeks of the rivers in order, and finds the best stay, a second
// choice and what to tie for the first. The same arguments give the same trip.
func Plan(ask Ask, rivers []River, groups Groups) (*Trip, error) {
	if err := ask.Check(); err != nil {
		return nil, fmt.Errorf("planning a trip: %w", err)
	}
	t := &Trip{Ask: ask, Caution: forecast.StandingCaution}
	var stays []Stay
	for _, r := range rivers {
		d := tally(ask, r)
		if d == nil {
			continue
		}
		if r.Outlook.IssuedAt.After(t.IssuedAt) {
			t.IssuedAt = r.Outlook.IssuedAt
		}
		for from := ask.From; from <= ask.To; from += 7 {
			if s, ok := d.stay(from, min(from+6, ask.To)); ok {
				t.Weeks = append(t.Weeks, s)
			}
		}
		for from := ask.From; from+forecast.Date(ask.Days)-1 <= ask.To; from++ {
			if s, ok := d.stay(from, from+forecast.Date(ask.Days)-1); ok {
				stays = append(stays, s)
			}
		}
	}
	if len(stays) == 0 {
		return nil, fmt.Errorf("planning a trip: %w (%s to %s): forecasts reach about a year ahead", ErrNothing, ask.From, ask.To)
	}
	slices.SortStableFunc(t.Weeks, better)
	slices.SortStableFunc(stays, better)
	t.First = stays[0]
	t.First.fill()
	t.Second = second(stays)
	for i := range t.Weeks {
		t.Weeks[i].fill()
	}
	issue := t.First.outlook.IssueDate()
	t.BoxReady = max(issue, t.First.From-1)
	t.LookAgain = max(issue, t.First.From-weatherReach)
	t.Confidence, t.Risks = t.confidence(), t.risks()
	t.Tying = tying(t.First, groups)
	return t, nil
}

// second is the best stay at another river, since what spoils the first choice
// spoils its neighbours in time too; of a single river, the best one that lies a
// week apart. nil if there is none.
func second(stays []Stay) *Stay {
	var apart *Stay
	for i := range stays {
		s := &stays[i]
		if s.River != stays[0].River {
			s.fill()
			return s
		}
		if apart == nil && (s.From >= stays[0].To+7 || s.To <= stays[0].From-7) {
			apart = s
		}
	}
	if apart != nil {
		apart.fill()
	}
	return apart
}

// weatherReach is how many days before a stay a weather forecast begins to say
// something of it. Our own default.
const weatherReach = 7

// better puts stays in order: by worth in steps of five percent, since less is
// not known, then by the number of stages, then the earlier one.
func better(a, b Stay) int {
	return cmp.Or(
		cmp.Compare(math.Round(20*b.Worth), math.Round(20*a.Worth)),
		cmp.Compare(math.Round(10*b.Stages), math.Round(10*a.Stages)),
		cmp.Compare(a.From, b.From),
		cmp.Compare(a.River, b.River),
	)
}

// days are the daily figures of one river.
type days struct {
	ask            Ask
	river          River
	day0           forecast.Date
	stages         []*forecast.StageOutlook
	one            []float64 // chance of at least one stage, by day from day0
	calendar       []float64
	many           []float64 // expected number of stages
	stagesCalendar []float64 // the same from the calendar alone
}

// tally works out the daily figures; nil where the outlook has no stage that is
// asked for.
func tally(ask Ask, r River) *days {
	d := &days{ask: ask, river: r}
	for i := range r.Outlook.Stages {
		if s := &r.Outlook.Stages[i]; ask.cares(s) && s.Days.Len() > 0 {
			d.stages = append(d.stages, s)
		}
	}
	if len(d.stages) == 0 {
		return nil
	}
	d.day0 = d.stages[0].Days.From
	n := d.stages[0].Days.Len()
	d.one, d.calendar, d.many, d.stagesCalendar = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	byGroup := map[string][]*forecast.StageOutlook{}
	var order []string
	for _, s := range d.stages {
		if byGroup[s.Group] == nil {
			order = append(order, s.Group)
		}
		byGroup[s.Group] = append(byGroup[s.Group], s)
	}
	for i := range n {
		none, noneCal := 1.0, 1.0
		for _, g := range order {
			p, c := 0.0, 0.0
			for _, s := range byGroup[g] {
				if x, ok := s.On(d.day0 + forecast.Date(i)); ok {
					p, c = max(p, x.P), max(c, x.PCalendar)
					d.many[i] += x.P
					d.stagesCalendar[i] += x.PCalendar
				}
			}
			none *= 1 - p
			noneCal *= 1 - c
		}
		d.one[i], d.calendar[i] = 1-none, 1-noneCal
	}
	return d
}

// stay sums up some days; false where the outlook does not cover them.
func (d *days) stay(from, to forecast.Date) (Stay, bool) {
	a, b := int(from-d.day0), int(to-d.day0)
	issue := d.river.Outlook.IssueDate()
	if a < 0 || b >= len(d.one) || from < issue {
		return Stay{}, false
	}
	s := Stay{River: d.river.Outlook.River, RiverName: d.river.Outlook.RiverName, From: from, To: to, outlook: d.river.Outlook,
		Chance: verify.Mean(d.one[a : b+1]), Calendar: verify.Mean(d.calendar[a : b+1]), Stages: verify.Mean(d.many[a : b+1]), StagesCalendar: verify.Mean(d.stagesCalendar[a : b+1])}
	for _, st := range d.stages {
		s.Likely = append(s.Likely, Likely{Group: st.Group, Name: st.Name, Stage: st.Stage, Chance: chance(st, from, to), Hours: st.Hours, Grade: st.Grade, stage: st})
		s.AtLeast = max(s.AtLeast, s.Likely[len(s.Likely)-1].Chance)
	}
	s.Flow, s.Warm = flowOdds(d.river, from, to, d.ask.Units), warmOdds(d.river.Outlook, from, to, d.ask.Units)
	s.Worth = s.Chance * unspoiled(s.Flow, s.Warm)
	return s, true
}

// shown is how many of a stay's stages are told.
const shown = 6

// fill puts the likeliest stages first and drops those that hardly count.
func (s *Stay) fill() {
	slices.SortStableFunc(s.Likely, func(a, b Likely) int { return cmp.Compare(b.Chance, a.Chance) })
	s.Likely = slices.DeleteFunc(s.Likely, func(l Likely) bool { return l.Chance < 0.01 })
	if len(s.Likely) > 2*shown {
		s.Likely = s.Likely[:2*shown]
	}
}

func chance(s *forecast.StageOutlook, from, to forecast.Date) float64 {
	sum := 0.0
	for d := from; d <= to; d++ {
		if x, ok := s.On(d); ok {
			sum += x.P
		}
	}
	return sum / float64(to-from+1)
}
