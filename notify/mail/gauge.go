package mail

import (
	"fmt"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

// gaugeHeading says in a line that a condition at the gauge is met, or over.
func (w words) gaugeHeading(it alert.EmailItem) string {
	c, err := subscribe.ParseCondition(it.When)
	if err != nil {
		return river(it) + ": the value you asked for"
	}
	out := fmt.Sprintf("%s: %s", river(it), c.Words(w.units))
	if it.Kind == alert.KindGaugeOver {
		return out + ": no longer"
	}
	if it.About != nil {
		out += fmt.Sprintf(", and %s, %s", clean(it.About.Name), stageName(it.About.Stage))
	}
	return out
}

// gauge is the mail about a condition at the gauge. The caution of the river stands in it
// as in every other.
func (w words) gauge(it alert.EmailItem) block {
	b := block{Heading: w.gaugeHeading(it), Caution: w.above(it.Caution)}
	c, err := subscribe.ParseCondition(it.When)
	if err != nil {
		return b
	}
	zone := "UTC"
	if it.Caution != nil {
		zone = it.Caution.Zone
	}
	said := "You asked to hear of this"
	if it.Kind == alert.KindGaugeOver {
		said = "What you asked for no longer holds"
	}
	switch {
	case it.Value != nil:
		b.Lead = append(b.Lead, fmt.Sprintf("%s: %s, read at %s.", said, c.Print(it.Value.V, w.units), clock(it.Value.At, zone)))
	case it.Day != "":
		b.Lead = append(b.Lead, fmt.Sprintf("%s: chance %s on %s, the likeliest day (modelled).", said, percent(it.Chance), day(it.Day)))
	}
	if o, s := it.Outlook, it.About; o != nil && s != nil {
		if top, ok := best(o, s); ok {
			b.Lead = append(b.Lead, fmt.Sprintf("%s, %s: %s (%s) on the best day, %s (calendar only: %s).", capital(clean(s.Name)), stageName(s.Stage), forecast.Likelihood(top.P), percent(top.P), day(top.Date.String()), percent(top.PCalendar)))
		}
		b.Facts = append(b.Facts, fact{"Window", span(s.From, s.To)}, fact{"Local hours", or(clean(s.Hours.String()), "unknown")})
		b.Warm = clean(warm(o))
		if it.Kind == alert.KindGauge {
			b.Tie, b.TieBy = cleanAll(s.Tie), w.tieBy(s.From)
		}
	}
	if r := it.Caution; r != nil {
		b.Facts = w.readings(b.Facts, r.Zone, r.FlowM3S, r.StageM, r.WaterC)
		if r.Notices != "" {
			b.Facts = append(b.Facts, fact{"Local notices", clean(r.Notices)})
		}
	}
	if o := it.Outlook; o != nil {
		b.URL = o.URL
		b.Facts = append(b.Facts, w.fishable(o, o.Issued.In(forecast.ZoneOf(o.Zone)).Format(time.DateOnly), "")...)
	}
	b.Small = append(b.Small, provisional)
	return b
}

// fishableDays is of how many days a mail tells the chance of fishable flow. Our own.
const fishableDays = 7

// fishable is the chance of a flow within the owner's range by day, from the first day of
// a window that is not over; none where no range is named or no flow is forecast.
func (w words) fishable(o *alert.Outlook, from, to string) []fact {
	var days []string
	today := w.date.In(forecast.ZoneOf(o.Zone)).Format(time.DateOnly)
	for _, d := range o.FlowDays {
		date := d.Date.String()
		if d.Fishable == nil || date < today || date < from || to != "" && date > to {
			continue
		}
		if days = append(days, fmt.Sprintf("%s %s", d.Date.Short(), percent(*d.Fishable))); len(days) == fishableDays {
			break
		}
	}
	if days == nil {
		return nil
	}
	text := fmt.Sprintf("%s (%s to %s; %s). %s", strings.Join(days, ", "), w.units.Flow(o.FishableM3s[0]), w.units.Flow(o.FishableM3s[1]), clean(o.FlowBasis), notWading)
	return []fact{{"Chance of fishable flow", text}}
}
