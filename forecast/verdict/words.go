package verdict

import (
	"fmt"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/wading"
)

// Headline is the answer in one sentence. It is an imperative only where v.Invite says
// that it may be.
func (v Verdict) Headline() string {
	switch v.Answer {
	case Go:
		if v.Invite {
			return fmt.Sprintf("Go to %s, %s.", v.First.RiverName, span(v.First.From, v.First.To))
		}
		return fmt.Sprintf("Best days: %s, %s.", v.First.RiverName, span(v.First.From, v.First.To))
	case Draw:
		return fmt.Sprintf("Too close to call: %s, %s, or %s, %s.", v.First.RiverName, span(v.First.From, v.First.To), v.Second.RiverName, span(v.Second.From, v.Second.To))
	case Water:
		return fmt.Sprintf("%s, %s: the insects are good, but %s.", v.First.RiverName, span(v.First.From, v.First.To), v.First.why())
	case Nothing:
		s := fmt.Sprintf("Nothing worth a journey in the next %d days", v.Days)
		if v.Coming != nil {
			s += fmt.Sprintf("; next: %s on %s, from about %s", v.Coming.What(), v.ComingAt, v.Coming.From.Short())
		}
		return s + "."
	default: // Stale
	}
	return "Every forecast here is too old to answer. Fetch new data: eclose ingest."
}

// Lines are the verdict in at most five lines for a terminal or the head of a mail: the
// headline, two insects with hours and flies, how sure, what the flow allows. The
// caution of a river is not among them: print CautionLine beside them, always.
func (v Verdict) Lines() []string {
	out := []string{v.Headline()}
	if v.First == nil {
		return out
	}
	for _, c := range v.First.Catches[:min(2, len(v.First.Catches))] {
		out = append(out, forecast.UpperFirst(c.Words())+".")
	}
	return append(out, v.First.Sure(), "Flow: "+v.First.Flow.Words+".")
}

// span is some days for people: "Mon 22 to Thu 25 Jun".
func span(from, to forecast.Date) string { return trip.Span(from, to) }

// Sure says how sure a choice is, beside the calendar.
func (c Choice) Sure() string {
	return fmt.Sprintf("%s: on such a day %s that you see at least one (calendar %s).", forecast.UpperFirst(forecast.Likelihood(c.Chance)), forecast.Percent(c.Chance), forecast.Percent(c.Calendar))
}

// why says what shuts a choice.
func (c Choice) why() string {
	if shut(c.Warm) {
		return "the water is likely too warm for trout"
	}
	return "the flow is likely too high to wade or to fish"
}

// What is the insect with what it does: "golden stone laying eggs".
func (c Catch) What() string { return trip.What(c.Name, c.Stage, c.Fly.OnLand) }

// Words is the row in a sentence: what, hours, chance beside the calendar's, fly.
func (c Catch) Words() string {
	s := c.What()
	if h := c.Hours.String(); h != "" {
		s += ", " + h
	}
	s += fmt.Sprintf(", %s (calendar %s)", forecast.Percent(c.P), forecast.Percent(c.Calendar))
	if f := c.Fly.Words(); f != "" {
		s += ": " + f
	}
	return s
}

// ShiftWords is how the peak lies beside the calendar's.
func (c Catch) ShiftWords() string {
	switch {
	case c.Shift <= -2:
		return fmt.Sprintf("%d days early", -c.Shift)
	case c.Shift >= 2:
		return fmt.Sprintf("%d days late", c.Shift)
	}
	return "about the same"
}

// Heading is the answer for one river alone.
func (r River) Heading() string {
	switch {
	case r.Stale:
		return fmt.Sprintf("The newest forecast is of %s, too old to answer.", r.IssuedAt.Format("2 Jan 2006"))
	case r.Best == nil || !r.Matters:
		for _, c := range r.Next {
			if c.From > forecast.DateOf(r.IssuedAt) {
				return fmt.Sprintf("Nothing worth a journey in the next %d days; next: %s, from about %s.", len(r.Days), c.What(), c.From.Short())
			}
		}
		return fmt.Sprintf("Nothing worth a journey in the next %d days.", len(r.Days))
	case r.Shut:
		return fmt.Sprintf("Good insects %s, but %s.", span(r.Best.From, r.Best.To), r.Best.why())
	case r.Invite:
		return fmt.Sprintf("Go %s: %s.", span(r.Best.From, r.Best.To), names(r.Best.Catches))
	}
	return fmt.Sprintf("Best days %s: %s.", span(r.Best.From, r.Best.To), names(r.Best.Catches))
}

func names(catches []Catch) string {
	var out []string
	for _, c := range catches {
		if len(out) == 0 || out[len(out)-1] != c.Name {
			out = append(out, c.Name)
		}
	}
	return strings.Join(out, ", ")
}

// CautionLine is today's caution with the reading behind it. It stands beside every
// answer, whatever else is cut.
func (r River) CautionLine(u wading.Units) string {
	if r.Caution == nil {
		return wading.Caution{}.Headline() + "."
	}
	var b strings.Builder
	b.WriteString(r.Caution.Headline() + ".")
	for _, x := range r.Caution.Reasons {
		// The flow's own reason is given by the flow and its limits.
		if x.Level == r.Caution.Level && x.Level >= wading.BetterNot && x.Code != "level.flow" {
			b.WriteString(" " + forecast.UpperFirst(x.Text(u)) + ".")
		}
	}
	if r.Caution.Flow.Present {
		b.WriteString(" Flow " + u.Flow(r.Caution.Flow.Value))
		if t := r.outlook.Flow.Trend(); t != "" {
			b.WriteString(", " + string(t))
		}
		b.WriteString(", " + r.Caution.ReadAt(r.Caution.Flow) + ".")
	}
	if v := r.Caution.Validity(); v != "" {
		b.WriteString(" " + v + ".")
	}
	if l := r.LimitsLine(u); l != "" {
		b.WriteString(" " + l)
	}
	return b.String()
}

// LimitsLine names the flows from which the caution's levels begin at the gauge; empty
// if unknown.
func (r River) LimitsLine(u wading.Units) string {
	l := r.Limits()
	if l == nil {
		return ""
	}
	return fmt.Sprintf("Take care from %s; better not to wade from %s; keep out from %s.", u.Flow(l.CareM3s), u.Flow(l.BetterNotM3s), u.Flow(l.KeepOutM3s))
}
