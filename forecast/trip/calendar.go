package trip

import (
	"fmt"
	"io"
	"strings"

	ics "github.com/arran4/golang-ical"

	"example.org/eclose/forecast"
)

// WriteICS writes the trip as a calendar (RFC 5545): both stays, as tentative
// since nothing is booked, the day to look again and the day by which the box is
// ready. An event keeps its UID from plan to plan of the same ask, so that a
// calendar that is fed again moves it.
func (t *Trip) WriteICS(w io.Writer) error {
	cal := ics.NewCalendarFor("Eclose")
	cal.SetProductId("-//Eclose//trip//EN")
	cal.SetXWRCalName("Trip")
	event := func(name string, from, to forecast.Date, summary, text string) *ics.VEvent {
		e := cal.AddEvent(fmt.Sprintf("trip.%s.%s.%s@eclose", name, t.Ask.From, t.Ask.To))
		e.SetDtStampTime(t.IssuedAt)
		e.SetAllDayStartAt(from.Time())
		e.SetAllDayEndAt((to + 1).Time()) // the end is the first day outside
		e.SetSummary(summary)
		e.SetDescription(text)
		e.SetTimeTransparency(ics.TransparencyTransparent)
		return e
	}
	stay := func(name, head string, s Stay) {
		e := event(name, s.From, s.To, fmt.Sprintf("%s: %s", head, s.RiverName), s.words()+"\n"+t.Caution)
		e.SetStatus(ics.ObjectStatusTentative)
		e.SetGeo(s.outlook.Lat, s.outlook.Lon)
	}
	stay("first", "First choice", t.First)
	if t.Second != nil {
		stay("second", "Second choice", *t.Second)
	}
	event("look", t.LookAgain, t.LookAgain, "Check the forecast for "+t.First.RiverName, strings.Join(t.Risks, "\n"))
	var list []string
	for _, f := range t.Tying {
		list = append(list, fmt.Sprintf("%s: %s, for %s", f.Name, f.HookWords(), strings.Join(f.For, "; ")))
	}
	event("box", t.BoxReady, t.BoxReady, "Fly box ready for "+t.First.RiverName, strings.Join(list, "\n"))
	config := &ics.SerializationConfiguration{MaxLength: 75, PropertyMaxLength: 75, NewLine: "\r\n"}
	if err := cal.SerializeTo(w, config); err != nil {
		return fmt.Errorf("writing the calendar of a trip: %w", err)
	}
	return nil
}

func (s Stay) words() string {
	lines := []string{fmt.Sprintf("Chance of at least one hatch or egg-laying flight a day: %s, %s.", forecast.Percent(s.Chance), forecast.Likelihood(s.Chance))}
	for i, l := range s.Likely {
		if i == shown {
			break
		}
		lines = append(lines, fmt.Sprintf("%s %s, %s", forecast.Percent(l.Chance), l.Name, l.Stage))
	}
	return strings.Join(append(lines, "Flow: "+s.Flow.Words+".", "Warm water: "+s.Warm.Words+"."), "\n")
}
