package api

import (
	"context"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/forecast/verdict"
	"example.org/eclose/model/wading"
)

// odds are the chance that something spoils a day.
type odds struct {
	P     *float64 `json:"p" doc:"null: unknown, which is not none"`
	Words string   `json:"words"`
}

func oddsOf(o trip.Odds) odds {
	if !o.Known {
		return odds{Words: o.Words}
	}
	return odds{&o.P, o.Words}
}

// catch is one stage to be there for.
type catch struct {
	Group     string  `json:"group"`
	GroupName string  `json:"group_name"`
	Stage     string  `json:"stage" enum:"emergence,egg-laying"`
	P         float64 `json:"p" doc:"chance in two hours' watch"`
	PCalendar float64 `json:"p_calendar"`
	Hours     string  `json:"hours" doc:"on the river's clock; empty: unknown"`
	Fly       string  `json:"fly"`
	Evidence  string  `json:"evidence"`
	From      *string `json:"from" format:"date" doc:"most likely first day of the window"`
	Best      *string `json:"best" format:"date" doc:"likeliest day from today on"`
	To        *string `json:"to" format:"date"`
}

func catchesOf(all []verdict.Catch) []catch {
	out := make([]catch, 0, len(all))
	for _, c := range all {
		out = append(out, catch{c.Group, c.Name, string(c.Stage), c.P, c.Calendar, c.Hours.String(), c.Fly.Words(), c.Grade.Word(), date(c.From), date(c.Best), date(c.To)})
	}
	return out
}

// stay is some days at one river.
type stay struct {
	River          string  `json:"river"`
	RiverName      string  `json:"river_name"`
	From           string  `json:"from" format:"date"`
	To             string  `json:"to" format:"date"`
	Chance         float64 `json:"chance" doc:"that on such a day at least one of the catches shows"`
	ChanceCalendar float64 `json:"chance_calendar"`
	TooHigh        odds    `json:"flow_too_high"`
	TooWarm        odds    `json:"water_too_warm"`
	Catches        []catch `json:"catches"`
}

func stayOf(c *verdict.Choice) *stay {
	if c == nil {
		return nil
	}
	return &stay{c.River, c.RiverName, c.From.String(), c.To.String(), c.Chance, c.Calendar, oddsOf(c.Flow), oddsOf(c.Warm), catchesOf(c.Catches)}
}

// riverDays is the verdict on one river.
type riverDays struct {
	River    string    `json:"river"`
	Heading  string    `json:"heading"`
	Stale    bool      `json:"stale" doc:"the forecast was issued too long ago to answer"`
	IssuedAt time.Time `json:"issued_at"`
	Best     *stay     `json:"best,omitempty" doc:"missing: nothing in these days"`
	Today    []catch   `json:"today" doc:"still to come today"`
	Next     []catch   `json:"next" doc:"the ten that matter, in the order in which they open"`
	Caution  *caution  `json:"caution"`
}

type verdictAnswer struct {
	onlyJSON
	Answer   string      `json:"answer" enum:"go,draw,water,nothing,stale" doc:"go: one river and its days lead; draw: two are too close to call; water: the insects are good and the water is not; nothing: nothing is worth a journey; stale: every forecast is too old to answer"`
	Headline string      `json:"headline"`
	Invite   bool        `json:"may_invite" doc:"whether it may be put as an imperative: only while the caution of the river is known, below 2, and no official warning is in force"`
	Days     int         `json:"days" doc:"looked ahead, from today on"`
	First    *stay       `json:"first,omitempty"`
	Second   *stay       `json:"second,omitempty" doc:"the best days at another river"`
	Rivers   []riverDays `json:"rivers"`
	Frame
}

// VerdictQuestion is what a reader asks of the days ahead.
type VerdictQuestion struct {
	Days  int      `query:"days" minimum:"1" maximum:"60" default:"14" doc:"how many days ahead"`
	Group []string `query:"group" maxItems:"20" doc:"your own wish list of insect groups, by key"`
}

func (s *service) verdict(ctx context.Context, in *VerdictQuestion) (*one[verdictAnswer], error) {
	return s.judge(ctx, s.Data.Rivers(), *in)
}

func (s *service) riverVerdict(ctx context.Context, in *struct {
	ByRiver
	VerdictQuestion
}) (*one[verdictAnswer], error) {
	r, err := s.findRiver(in.River)
	if err != nil {
		return nil, err
	}
	return s.judge(ctx, []forecast.River{r}, in.VerdictQuestion)
}

func (s *service) judge(ctx context.Context, rivers []forecast.River, in VerdictQuestion) (*one[verdictAnswer], error) {
	for _, g := range in.Group {
		if _, ok := s.Catalogue.Group(g); !ok {
			return nil, badParameter("query.group: unknown insect group %q", g)
		}
	}
	var asked []trip.River
	cautions := map[string]*caution{}
	for _, r := range rivers {
		_, st, err := s.state(ctx, r.Slug)
		if err != nil {
			return nil, err
		}
		if st == nil || st.Outlook == nil {
			continue
		}
		judged := st.Judged(s.Now())
		asked = append(asked, trip.River{Outlook: st.Outlook, Flows: st.Flows, Caution: &judged})
		cautions[r.Slug] = s.cautionOf(r, st)
	}
	v := verdict.Of(verdict.Question{Now: s.Now(), Days: in.Days, Groups: in.Group, Units: wading.Metric}, asked, s.Catalogue.Group)
	a := verdictAnswer{Answer: string(v.Answer), Headline: v.Headline(), Invite: v.Invite, Days: v.Days, First: stayOf(v.First), Second: stayOf(v.Second), Rivers: []riverDays{}, Frame: s.frame()}
	for i := range v.Rivers {
		r := &v.Rivers[i]
		a.Rivers = append(a.Rivers, riverDays{r.River, r.Heading(), r.Stale, r.IssuedAt.UTC(), stayOf(r.Best), catchesOf(r.Today), catchesOf(r.Next), cautions[r.River]})
	}
	return &one[verdictAnswer]{a}, nil
}
