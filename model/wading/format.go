package wading

import (
	"fmt"
	"slices"
	"strings"
	"time"
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
		return fmt.Sprintf("Caution level unknown, but at least %d (%s): treat the river as too high until you have seen it", c.Level, c.Level.Words())
	}
	return "Caution level unknown: treat the river as too high until you have seen it"
}

// Validity says until when the caution may be read as current, as an absolute
// time, so that a copy needs no clock of ours.
func (c Caution) Validity() string {
	if c.At.IsZero() {
		return ""
	}
	if !c.Known {
		return "Checked at " + clock(c.At, c.Zone) + "; the level stays unknown until it is checked again"
	}
	return "Valid until " + clock(c.Until, c.Zone) + "; after that the caution level is unknown"
}

// ReadAt says when a reading of the caution was taken, as an absolute time: a copy has
// no clock of ours.
func (c Caution) ReadAt(r Reading) string {
	return "read at " + clock(c.At.Add(-r.Age), c.Zone)
}

// Expired is the caution as it stands once nobody has renewed it in time: the
// level is unknown, but no lower.
func (c Caution) Expired() Caution {
	c.Known, c.Until = false, c.At
	c.Unknowns = append(slices.Clone(c.Unknowns), "everything since: gauges last checked at "+clock(c.At, c.Zone))
	return c
}

// Format is the caution as a block of plain text, in the reader's units with the
// other system in brackets, each reading with its time and age.
func (c Caution) Format(u Units) string {
	var b strings.Builder
	b.WriteString(c.Headline() + "\n")
	for _, r := range c.Reasons {
		fmt.Fprintf(&b, "- %s\n", r.words(u))
	}
	for _, s := range c.Unknowns {
		fmt.Fprintf(&b, "- unknown: %s\n", s)
	}
	line := func(name, value string, r Reading) {
		if !r.given() {
			return
		}
		read := age(r.Age)
		if !c.At.IsZero() {
			read = c.ReadAt(r) + " (" + read + ")"
		}
		if r.Modeled {
			read += ", modelled, not measured"
		}
		fmt.Fprintf(&b, "%s %s, %s\n", name, value, read)
	}
	line("Flow", u.Flow(c.Flow.Value), c.Flow)
	line("Gauge height", u.Length(c.Stage.Value), c.Stage)
	line("Water", u.Temperature(c.Water.Value), c.Water)
	if v := c.Validity(); v != "" {
		b.WriteString(v + "\n")
	}
	if l := c.Limits; l != nil {
		rough := ""
		if l.Rough {
			rough = " (rough, from few measurements)"
		}
		fmt.Fprintf(&b, "At this gauge%s: take care from %s, better not to wade from %s, keep out from %s\n",
			rough, u.Flow(l.CareM3s), u.Flow(l.BetterNotM3s), u.Flow(l.KeepOutM3s))
	}
	for _, r := range c.Reasons {
		if r.Details != nil {
			fmt.Fprintf(&b, "Details: %s\n", r.Details(u))
			break
		}
	}
	b.WriteString(Always + "\n")
	return b.String()
}

// words is the reason's text; one that rests on a doubted reading says
// so.
func (r Reason) words(u Units) string {
	if r.Floor {
		return "at least: " + r.Text(u)
	}
	return r.Text(u)
}

// View is the caution as plain data, for JSON and pages.
type View struct {
	Headline string       `json:"headline"`
	Level    int          `json:"level_at_least"`
	Known    bool         `json:"known"`
	Doubted  bool         `json:"doubted"`
	At       time.Time    `json:"judged_at"`
	Until    time.Time    `json:"valid_until"` // past it the level is unknown
	Validity string       `json:"validity"`
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
	Details    string     `json:"details,omitempty"`
	Source     string     `json:"source"`
	Provenance Provenance `json:"provenance"`
}

// ValueView is a reading with its time and age.
type ValueView struct {
	Value      float64   `json:"value"`
	ReadAt     time.Time `json:"read_at"`
	AgeSeconds float64   `json:"age_seconds"`
	Modeled    bool      `json:"modeled,omitempty"`
	Doubt      string    `json:"doubt,omitempty"`
}

// View turns the caution into plain data with texts in the reader's units.
func (c Caution) View(u Units) View {
	value := func(r Reading) *ValueView {
		if !r.given() {
			return nil
		}
		return &ValueView{r.Value, c.At.Add(-r.Age), r.Age.Seconds(), r.Modeled, r.Doubt}
	}
	v := View{
		Headline: c.Headline(), Level: int(c.Level), Known: c.Known, Doubted: c.Doubted, At: c.At, Until: c.Until, Validity: c.Validity(),
		Reasons: []ReasonView{}, Unknowns: append([]string{}, c.Unknowns...), Limits: c.Limits, Always: Always,
		Flow: value(c.Flow), Stage: value(c.Stage), Water: value(c.Water),
	}
	for _, r := range c.Reasons {
		b := r.Basis()
		x := ReasonView{Code: r.Code, Level: int(r.Level), Text: r.words(u), Source: b.Source, Provenance: b.Provenance}
		if r.Details != nil {
			x.Details = r.Details(u)
		}
		v.Reasons = append(v.Reasons, x)
	}
	if c.Estimate != nil && c.Estimate.Printed {
		v.DV, v.DVHigh, v.Basis = &c.Estimate.DVM2s, &c.Estimate.DVHighM2s, c.Estimate.Basis
	}
	return v
}
