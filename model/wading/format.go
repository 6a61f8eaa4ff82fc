package wading

import (
	"fmt"
	"math"
	"strings"
)

// Always is what stands under every caution. A gauge section is picked for even
// flow, and its mean hides the deepest thread.
const Always = "The gauge section is not the run you fish: in the deepest thread, depth times speed is about 1.5 to 1.8 times the section mean, and beds shift. " +
	"Local notices, dam operators, licensed guides and your own eyes overrule this."

// Headline is the caution in one line without numbers.
func (c Caution) Headline() string {
	switch {
	case c.Known:
		return fmt.Sprintf("Caution %d: %s", c.Level, c.Level.Words())
	case c.Level > Quiet:
		return fmt.Sprintf("Caution level unknown, but at least %d: %s", c.Level, c.Level.Words())
	}
	return "Caution level unknown: treat the river as too high until you have seen it"
}

// Format is the caution as a block of plain text, in the reader's units with the
// other system in brackets, each reading with its age.
func (c Caution) Format(u Units) string {
	var b strings.Builder
	b.WriteString(c.Headline() + "\n")
	for _, r := range c.Reasons {
		fmt.Fprintf(&b, "- %s\n", r.Text(u))
	}
	for _, s := range c.Unknowns {
		fmt.Fprintf(&b, "- unknown: %s\n", s)
	}
	if c.Flow.view() != nil {
		fmt.Fprintf(&b, "Flow %s, %s\n", u.Flow(c.Flow.Value), age(c.Flow.Age))
	}
	if c.Stage.view() != nil {
		fmt.Fprintf(&b, "Gauge height %s, %s\n", u.Length(c.Stage.Value), age(c.Stage.Age))
	}
	if c.Water.view() != nil {
		kind := ""
		if c.Water.Modeled {
			kind = ", modelled, not measured"
		}
		fmt.Fprintf(&b, "Water %s, %s%s\n", u.Temperature(c.Water.Value), age(c.Water.Age), kind)
	}
	if c.Limits != nil {
		fmt.Fprintf(&b, "At this gauge: take care from %s, better not to wade from %s, keep out from %s\n",
			u.Flow(c.Limits.CareM3s), u.Flow(c.Limits.BetterNotM3s), u.Flow(c.Limits.KeepOutM3s))
	}
	b.WriteString(Always + "\n")
	return b.String()
}

// View is the caution as plain data, for JSON and pages.
type View struct {
	Headline string       `json:"headline"`
	Level    int          `json:"level_at_least"`
	Known    bool         `json:"known"`
	Reasons  []ReasonView `json:"reasons"`
	Unknowns []string     `json:"unknowns"`
	Flow     *ValueView   `json:"flow_m3s,omitempty"`
	Stage    *ValueView   `json:"gauge_height_m,omitempty"`
	Water    *ValueView   `json:"water_c,omitempty"`
	DV       *float64     `json:"depth_times_speed_m2s,omitempty"`
	DVHigh   *float64     `json:"depth_times_speed_with_margin_m2s,omitempty"`
	Basis    string       `json:"estimate_basis,omitempty"`
	Limits   *Limits      `json:"limits,omitempty"`
	Always   string       `json:"always"`
}

// ReasonView is a reason with its source.
type ReasonView struct {
	Code       string     `json:"code"`
	Level      int        `json:"level"`
	Text       string     `json:"text"`
	Source     string     `json:"source"`
	Provenance Provenance `json:"standing"`
}

// ValueView is a reading with its age.
type ValueView struct {
	Value      float64 `json:"value"`
	AgeSeconds float64 `json:"age_seconds"`
	Modeled    bool    `json:"modeled,omitempty"`
	Doubt      string  `json:"doubt,omitempty"`
}

// View turns the caution into plain data with texts in the reader's units.
func (c Caution) View(u Units) View {
	v := View{
		Headline: c.Headline(), Level: int(c.Level), Known: c.Known, Reasons: []ReasonView{},
		Unknowns: append([]string{}, c.Unknowns...), Limits: c.Limits, Always: Always,
		Flow: c.Flow.view(), Stage: c.Stage.view(), Water: c.Water.view(),
	}
	for _, r := range c.Reasons {
		b := r.Basis()
		v.Reasons = append(v.Reasons, ReasonView{r.Code, int(r.Level), r.Text(u), b.Source, b.Provenance})
	}
	if c.Estimate != nil && c.Estimate.Printed {
		v.DV, v.DVHigh, v.Basis = &c.Estimate.DVM2s, &c.Estimate.DVHighM2s, c.Estimate.Basis
	}
	return v
}

func (r Reading) view() *ValueView {
	if !r.Present || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return nil
	}
	return &ValueView{r.Value, r.Age.Seconds(), r.Modeled, r.Doubt}
}
