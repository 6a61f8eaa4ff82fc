package mail

import (
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/eclose/forecast"
	"example.org/eclose/notify/alert"
)

// calendar returns the windows of a letter as iCalendar (RFC 5545), nil where
// there is none. A window keeps its UID from mail to mail, the same as in the
// exported calendar, and its SEQUENCE grows: feeding it again moves the entry.
func calendar(items []alert.EmailItem) []byte {
	cal := ics.NewCalendarFor("Eclose")
	cal.SetProductId("-//Eclose//mail//EN")
	cal.SetMethod(ics.MethodPublish)
	n := 0
	for _, it := range items {
		if !alert.Good(it.Kind) || it.Outlook == nil || it.About == nil {
			continue
		}
		o, s := it.Outlook, it.About
		from, err1 := time.Parse(time.DateOnly, s.From)
		to, err2 := time.Parse(time.DateOnly, s.To)
		if err1 != nil || err2 != nil || to.Before(from) {
			continue
		}
		year := from.Year()
		if peak, err := time.Parse(time.DateOnly, s.Peak); err == nil {
			year = peak.Year()
		}
		e := cal.AddEvent(fmt.Sprintf("%s.%s.%s.%d@eclose", o.River, s.Group, s.Stage, year))
		e.SetDtStampTime(o.Issued.UTC())
		e.SetSequence(int(o.Issued.Unix() / 60))
		e.SetAllDayStartAt(from)
		e.SetAllDayEndAt(to.AddDate(0, 0, 1)) // the end is the first day outside
		e.SetSummary(fmt.Sprintf("%s, %s: %s (estimate)", clean(s.Name), stageName(s.Stage), clean(o.RiverName)))
		e.SetTimeTransparency(ics.TransparencyTransparent) // nobody is busy because insects hatch
		text := "Estimated window: " + span(s.From, s.To) + "."
		if d, ok := best(o, s); ok {
			text += fmt.Sprintf(" %s: %s on the best day, %s (calendar only: %s).", capital(forecast.Likelihood(d.P)), percent(d.P), day(d.Date.String()), percent(d.PCalendar))
		}
		e.SetDescription(text + " " + level(it.Caution) + " " + notWading + " " + forecast.StandingCaution)
		n++
	}
	if n == 0 {
		return nil
	}
	return []byte(strings.TrimSpace(cal.Serialize(&ics.SerializationConfiguration{MaxLength: 75, PropertyMaxLength: 75, NewLine: "\r\n"})) + "\r\n")
}
