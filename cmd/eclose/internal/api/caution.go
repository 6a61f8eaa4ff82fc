package api

import (
	"context"
	"time"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

// caution is the wading caution of a river as it stands now. It is never left out:
// what nobody has judged is unknown.
type caution struct {
	River     string `json:"river"`
	RiverName string `json:"river_name"`
	wading.View
	ReadingAt *time.Time        `json:"reading_at" doc:"when the newest reading of flow or gauge height behind it was taken; null: there is none"`
	Text      string            `json:"text" doc:"all of it as plain text, with both systems of units"`
	Official  []officialWarning `json:"official_warnings" doc:"in force or announced, in the authority's words"`
	Notices   string            `json:"local_notices,omitempty"`
}

// officialWarning is an official warning as CAP names its parts.
type officialWarning struct {
	Event     string     `json:"event"`
	Authority string     `json:"authority,omitempty"`
	Area      string     `json:"area,omitempty"`
	Severity  string     `json:"severity,omitempty"`
	Onset     *time.Time `json:"onset,omitempty"`
	Expires   *time.Time `json:"expires,omitempty"`
	URL       string     `json:"url,omitempty"`
}

// CautionBrief is the caution in a few columns, for tables and maps.
type CautionBrief struct {
	Headline   string     `json:"caution"`
	Level      int        `json:"caution_level_at_least"`
	Known      bool       `json:"caution_known" doc:"false: the level is unknown, and at least caution_level_at_least"`
	ReadingAt  *time.Time `json:"caution_reading_at" doc:"when the newest reading behind it was taken; null: there is none"`
	JudgedAt   time.Time  `json:"caution_judged_at"`
	ValidUntil time.Time  `json:"caution_valid_until" doc:"past this moment the level is unknown"`
}

func (c *caution) brief() CautionBrief {
	return CautionBrief{c.Headline, c.Level, c.Known, c.ReadingAt, c.At, c.Until}
}

func (b CautionBrief) members() map[string]any { return members(b) }

// cautionOf is the caution of a river from its state, which may be nil.
func (s *service) cautionOf(r forecast.River, st *pages.State) *caution {
	now := s.Now()
	judged := wading.Assess(wading.Input{At: now, Zone: forecast.ZoneOf(r.Zone), Regulated: r.Regulated})
	var official wading.Warnings
	if st != nil {
		official = st.Warnings
		if st.Outlook != nil {
			judged = st.Judged(now)
		}
	}
	c := &caution{River: r.Slug, RiverName: r.Name, View: judged.View(wading.Metric), Text: judged.Format(wading.Metric), Notices: r.Notices, Official: []officialWarning{}}
	c.At, c.Until = c.At.UTC(), c.Until.UTC()
	for _, x := range []*wading.ValueView{c.Flow, c.Stage} {
		if x != nil && (c.ReadingAt == nil || x.ReadAt.After(*c.ReadingAt)) {
			at := x.ReadAt.UTC()
			c.ReadingAt = &at
		}
	}
	for _, w := range official.List {
		if official.Known && !w.Expires.IsZero() && !w.Expires.After(now) {
			continue
		}
		c.Official = append(c.Official, officialWarning{Event: w.Event, Authority: w.Authority, Area: w.Area, Severity: w.Severity, Onset: given(w.Onset), Expires: given(w.Expires), URL: w.URL})
	}
	return c
}

func given(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

// ByRiver is a river in the path.
type ByRiver struct {
	River string `path:"river" maxLength:"100" doc:"short name of the river" example:"wend"`
}

type cautionAnswer struct {
	onlyJSON
	Caution *caution `json:"caution"`
	Links   []link   `json:"links"`
	Frame
}

func (s *service) caution(ctx context.Context, in *ByRiver) (*one[cautionAnswer], error) {
	r, st, err := s.state(ctx, in.River)
	if err != nil {
		return nil, err
	}
	return &one[cautionAnswer]{cautionAnswer{Caution: s.cautionOf(r, st), Frame: s.frame(), Links: []link{s.link("self", "/rivers/"+r.Slug+"/caution", "application/json", "")}}}, nil
}
