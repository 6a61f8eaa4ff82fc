package mail

import (
	"fmt"
	"strings"

	ics "github.com/arran4/golang-ical"

	"example.org/eclose/forecast"
	"example.org/eclose/model/civil"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/syndicate"
)

// calendar returns the windows of an email as iCalendar (RFC 5545), nil where
// there is none. A window keeps its UID from mail to mail, the same as in the
// calendars by address, and its SEQUENCE grows: feeding it again moves the entry.
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
		from, err1 := civil.Parse(s.From)
		to, err2 := civil.Parse(s.To)
		if err1 != nil || err2 != nil || to < from {
			continue
		}
		peak, err := civil.Parse(s.Peak)
		if err != nil {
			peak = from
		}
		text := "Estimated window: " + span(s.From, s.To) + "."
		if d, ok := best(o, s); ok {
			text += fmt.Sprintf(" %s: %s on the best day, %s (calendar only: %s).", capital(forecast.Likelihood(d.P)), percent(d.P), day(d.Date.String()), percent(d.PCalendar))
		}
		cal.AddVEvent(syndicate.Event(syndicate.UID(o.River, s.Group, forecast.Stage(s.Stage), peak.Time().Year()), from, to, o.Issued, o.Issued,
			fmt.Sprintf("%s, %s: %s (estimate)", clean(s.Name), stageName(s.Stage), clean(o.RiverName)), text+" "+level(it.Caution)+" "+notWading+" "+forecast.StandingCaution))
		n++
	}
	if n == 0 {
		return nil
	}
	return []byte(strings.TrimSpace(cal.Serialize(&ics.SerializationConfiguration{MaxLength: 75, PropertyMaxLength: 75, NewLine: "\r\n"})) + "\r\n")
}
