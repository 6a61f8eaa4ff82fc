package api

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
)

// ForecastHead is one issued forecast in short.
type ForecastHead struct {
	River         string     `json:"river"`
	RiverName     string     `json:"river_name"`
	IssuedAt      time.Time  `json:"issued_at"`
	DataCutoff    *time.Time `json:"data_cutoff" doc:"time of the newest reading used; null: none was at hand"`
	ModelVersion  string     `json:"model_version"`
	SeasonsBehind int        `json:"seasons_behind" doc:"past seasons of water temperature at this river used"`
	WaterSource   string     `json:"water_source"`
}

type forecastsAsked struct {
	ByRiver
	Paging
	From time.Time `query:"from" doc:"issued at or after"`
	To   time.Time `query:"to" doc:"issued before"`
}

func (s *service) forecasts(ctx context.Context, in *forecastsAsked) (*paged[ForecastHead], error) {
	r, st, err := s.state(ctx, in.River)
	if err != nil {
		return nil, err
	}
	to := in.To
	if to.IsZero() || to.After(s.Now()) {
		to = s.Now().Add(time.Second)
	}
	heads := []archive.Head{}
	switch {
	case s.Issues != nil:
		if heads, err = s.Issues.List(ctx, r.Slug, in.From, to); err != nil {
			return nil, fmt.Errorf("listing the forecasts of %s: %w", r.Slug, err)
		}
	case st != nil && st.Outlook != nil && !st.Outlook.IssuedAt.Before(in.From) && st.Outlook.IssuedAt.Before(to):
		o := st.Outlook
		heads = append(heads, archive.Head{River: o.River, RiverName: o.RiverName, Issued: o.IssuedAt, CutOff: o.DataCutoff, ModelVersion: o.ModelVersion, Seasons: o.Seasons, WaterSource: o.WaterSource})
	}
	all := make([]ForecastHead, 0, len(heads))
	for _, h := range slices.Backward(heads) {
		all = append(all, ForecastHead{h.River, h.RiverName, h.Issued.UTC(), given(h.CutOff), h.ModelVersion, h.Seasons, h.WaterSource.Words()})
	}
	return page(s, in.Paging, all, s.cautionOf(r, st)), nil
}

// ByIssue is one issued forecast in the path.
type ByIssue struct {
	ByRiver
	Issue string `path:"issue" maxLength:"40" doc:"time of issue as in issued_at, or latest" example:"latest"`
}

// outlook is the forecast that is asked for, with the caution of its river as it
// stands now.
func (s *service) outlook(ctx context.Context, in ByIssue) (*forecast.Outlook, *caution, error) {
	r, st, err := s.state(ctx, in.River)
	if err != nil {
		return nil, nil, err
	}
	c := s.cautionOf(r, st)
	newest := st != nil && st.Outlook != nil
	if in.Issue == "latest" {
		if !newest {
			return nil, nil, huma.Error404NotFound("no forecast of this river has been issued yet")
		}
		return s.newest(ctx, st, c)
	}
	at, err := time.Parse(time.RFC3339, in.Issue)
	if err != nil {
		return nil, nil, badParameter("path.issue: write a time such as 2026-05-18T19:00:00Z, or latest")
	}
	if newest && st.Outlook.IssuedAt.Equal(at) {
		return s.newest(ctx, st, c)
	}
	gone := huma.Error404NotFound("no forecast of this river was issued then; see " + Root + "/rivers/" + r.Slug + "/forecasts")
	if s.Issues == nil {
		return nil, nil, gone
	}
	heads, err := s.Issues.List(ctx, r.Slug, at, at.Add(time.Microsecond))
	if err != nil {
		return nil, nil, fmt.Errorf("looking for a forecast of %s: %w", r.Slug, err)
	}
	if len(heads) == 0 {
		return nil, nil, gone
	}
	h := heads[len(heads)-1]
	o, err := s.Issues.Load(ctx, h.River, h.Issued, h.ModelVersion)
	if errors.Is(err, archive.ErrNotFound) {
		return nil, nil, gone
	}
	if err != nil {
		return nil, nil, fmt.Errorf("reading a forecast of %s: %w", r.Slug, err)
	}
	return o, c, nil
}

// newest is the whole of the newest forecast of a river.
func (s *service) newest(ctx context.Context, st *pages.State, c *caution) (*forecast.Outlook, *caution, error) {
	st, err := st.Whole(ctx)
	if err != nil {
		return nil, nil, fmt.Errorf("reading the newest forecast of %s: %w", c.River, err)
	}
	return st.Outlook, c, nil
}

type forecastAnswer struct {
	onlyJSON
	ForecastHead
	Zone          string   `json:"zone"`
	Members       int      `json:"members" doc:"ensemble size"`
	WeatherSource string   `json:"weather_source"`
	FlowSource    string   `json:"flow_source,omitempty" doc:"what the flow ahead rests on"`
	Groups        []string `json:"groups" doc:"keys of the insect groups"`
	Caution       *caution `json:"caution" doc:"of now, not of the time of issue"`
	Links         []link   `json:"links"`
	Frame
}

func (s *service) forecast(ctx context.Context, in *ByIssue) (*one[forecastAnswer], error) {
	o, c, err := s.outlook(ctx, *in)
	if err != nil {
		return nil, err
	}
	at := "/rivers/" + o.River + "/forecasts/" + in.Issue
	a := forecastAnswer{ForecastHead: ForecastHead{o.River, o.RiverName, o.IssuedAt.UTC(), given(o.DataCutoff), o.ModelVersion, o.Seasons, o.WaterSource.Words()}, Zone: o.Zone, Members: o.Members,
		WeatherSource: o.WeatherSource.Words(), Groups: []string{}, Caution: c, Frame: s.frame()}
	if o.Flow != nil {
		a.FlowSource = o.Flow.SourceWords()
	}
	for i := range o.Stages {
		if g := o.Stages[i].Group; len(a.Groups) == 0 || a.Groups[len(a.Groups)-1] != g {
			a.Groups = append(a.Groups, g)
		}
	}
	for _, what := range []string{"windows", "days", "water", "flow"} {
		a.Links = append(a.Links, s.link("related", at+"/"+what, "application/json", what))
	}
	return &one[forecastAnswer]{a}, nil
}

// WindowRow is when one group does one thing at one river: the central 80 % of the
// season's activity, each of its dates with its 10, 50 and 90 % points.
type WindowRow struct {
	Window        string    `json:"window" doc:"name of this window in addresses"`
	River         string    `json:"river"`
	RiverName     string    `json:"river_name"`
	Lat           float64   `json:"lat"`
	Lon           float64   `json:"lon"`
	Group         string    `json:"group" doc:"key of the insect group"`
	GroupName     string    `json:"group_name"`
	Stage         string    `json:"stage" enum:"emergence,egg-laying"`
	Fishable      bool      `json:"fishable" doc:"whether this stage is worth fishing"`
	AllYear       bool      `json:"all_year" doc:"it knows no season: the dates are the whole year"`
	Elsewhere     bool      `json:"lives_elsewhere" doc:"the group lives in other kinds of water than this river's"`
	StartP10      *string   `json:"start_p10" format:"date" doc:"10 % of the activity has passed: early bound"`
	StartP50      *string   `json:"start_p50" format:"date"`
	StartP90      *string   `json:"start_p90" format:"date"`
	PeakP10       *string   `json:"peak_p10" format:"date"`
	PeakP50       *string   `json:"peak_p50" format:"date"`
	PeakP90       *string   `json:"peak_p90" format:"date"`
	EndP10        *string   `json:"end_p10" format:"date"`
	EndP50        *string   `json:"end_p50" format:"date"`
	EndP90        *string   `json:"end_p90" format:"date"`
	CalendarStart *string   `json:"calendar_start" format:"date" doc:"by the calendar alone, median"`
	CalendarPeak  *string   `json:"calendar_peak" format:"date"`
	CalendarEnd   *string   `json:"calendar_end" format:"date"`
	Hours         string    `json:"hours" doc:"of the day, on the river's clock"`
	Evidence      string    `json:"evidence" doc:"where the group's values come from"`
	ThermalWeight float64   `json:"thermal_weight" doc:"0: calendar only; 1: water temperature only"`
	IssuedAt      time.Time `json:"issued_at"`
}

func (w WindowRow) feature() Feature {
	return Feature{Type: "Feature", ID: w.Window, Geometry: pointAt(w.Lat, w.Lon), Properties: members(w)}
}

func date(d forecast.Date) *string {
	if d == 0 {
		return nil
	}
	s := d.String()
	return &s
}

func windowOf(o *forecast.Outlook, st *forecast.StageOutlook) WindowRow {
	w, c := st.Window, st.Calendar
	return WindowRow{Window: o.River + "." + st.Group + "." + string(st.Stage), River: o.River, RiverName: o.RiverName, Lat: o.Lat, Lon: o.Lon,
		Group: st.Group, GroupName: st.Name, Stage: string(st.Stage), Fishable: st.Fishable, AllYear: st.AllYear, Elsewhere: st.Elsewhere,
		StartP10: date(w.Start.P10), StartP50: date(w.Start.P50), StartP90: date(w.Start.P90), PeakP10: date(w.Peak.P10), PeakP50: date(w.Peak.P50), PeakP90: date(w.Peak.P90),
		EndP10: date(w.End.P10), EndP50: date(w.End.P50), EndP90: date(w.End.P90), CalendarStart: date(c.Start.P50), CalendarPeak: date(c.Peak.P50), CalendarEnd: date(c.End.P50),
		Hours: st.Hours.String(), Evidence: st.Grade.Word(), ThermalWeight: st.Weight, IssuedAt: o.IssuedAt.UTC()}
}

// StageChoice narrows the stages of a forecast.
type StageChoice struct {
	Group string `query:"group" maxLength:"100" doc:"only this insect group, by its key"`
	Stage string `query:"stage" enum:"emergence,egg-laying" doc:"only this stage"`
}

func (c StageChoice) has(st *forecast.StageOutlook) bool {
	return (c.Group == "" || c.Group == st.Group) && (c.Stage == "" || c.Stage == string(st.Stage))
}

func (s *service) windows(ctx context.Context, in *struct {
	ByIssue
	StageChoice
	Paging
}) (*paged[WindowRow], error) {
	o, c, err := s.outlook(ctx, in.ByIssue)
	if err != nil {
		return nil, err
	}
	var all []WindowRow
	for i := range o.Stages {
		if in.has(&o.Stages[i]) {
			all = append(all, windowOf(o, &o.Stages[i]))
		}
	}
	return page(s, in.Paging, all, c), nil
}

// day is the chance of one stage on one day.
type day struct {
	Day           string  `json:"day" format:"date" doc:"at the river"`
	Group         string  `json:"group"`
	Stage         string  `json:"stage" enum:"emergence,egg-laying"`
	LeadDays      int     `json:"lead_days" doc:"from the day of issue"`
	P             float64 `json:"p" minimum:"0" maximum:"1" doc:"chance that a competent observer, watching suitable water for two hours at the group's time of day, sees more than a few stray insects"`
	PCalendar     float64 `json:"p_calendar" minimum:"0" maximum:"1" doc:"the same from the calendar alone"`
	ActivityP10   float64 `json:"activity_p10" doc:"share of the season's total on the day, 10 % point over members"`
	ActivityP50   float64 `json:"activity_p50"`
	ActivityP90   float64 `json:"activity_p90"`
	ActivityByCal float64 `json:"activity_calendar"`
}

// DayRange are two days of a query.
type DayRange struct {
	From string `query:"from" format:"date" doc:"first day; without it the day of issue, and of a series 30 days before"`
	To   string `query:"to" format:"date" doc:"last day"`
}

func (b DayRange) days(first forecast.Date) (from, to forecast.Date, err error) {
	from, to = first, 1<<30
	for _, x := range []struct {
		text string
		date *forecast.Date
	}{{b.From, &from}, {b.To, &to}} {
		if x.text != "" {
			if err := x.date.UnmarshalText([]byte(x.text)); err != nil {
				return 0, 0, badParameter("%q is not a date; write it as 2026-06-30", x.text)
			}
		}
	}
	if to < from {
		return 0, 0, badParameter("to is before from")
	}
	return from, to, nil
}

func (s *service) days(ctx context.Context, in *struct {
	ByIssue
	StageChoice
	DayRange
	Paging
}) (*paged[day], error) {
	o, c, err := s.outlook(ctx, in.ByIssue)
	if err != nil {
		return nil, err
	}
	issue := o.IssueDate()
	from, to, err := in.days(issue)
	if err != nil {
		return nil, err
	}
	var all []day
	for i := range o.Stages {
		st := &o.Stages[i]
		if !in.has(st) {
			continue
		}
		for _, d := range st.Days.All() {
			if d.Date < from || d.Date > to || d.Nothing() {
				continue
			}
			all = append(all, day{d.Date.String(), st.Group, string(st.Stage), int(d.Date - issue), d.P, d.PCalendar, d.Activity[0], d.Activity[1], d.Activity[2], d.Calendar})
		}
	}
	return page(s, in.Paging, all, c), nil
}
