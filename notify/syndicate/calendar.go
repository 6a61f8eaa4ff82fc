package syndicate

import (
	"fmt"
	"io"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/eclose/forecast"
)

// A RiverNews is what a calendar or a feed tells of one river.
type RiverNews struct {
	River   forecast.River
	Outlook *forecast.Outlook // nil: none was issued yet
	Windows []PublishedWindow
	Answer  string // which days, in a sentence; see verdict.River.Heading
	Caution string // with the reading behind it and until when it counts
	URL     string // of the river's page
}

// Event is one window as an event of iCalendar (RFC 5545), the same wherever it is
// sent. SEQUENCE is the minute in which it last changed: it grows with each change
// and needs no count.
func Event(uid string, from, to forecast.Date, changed, stamped time.Time, summary, description string) *ics.VEvent {
	e := ics.NewEvent(uid)
	e.SetDtStampTime(stamped.UTC())
	e.SetSequence(int(changed.Unix() / 60))
	e.SetAllDayStartAt(from.Time())
	e.SetAllDayEndAt((to + 1).Time()) // the end is the first day outside
	e.SetSummary(summary)
	e.SetTimeTransparency(ics.TransparencyTransparent) // nobody is busy because insects hatch
	e.SetDescription(description)
	return e
}

// WriteCalendar writes the windows of some rivers as a calendar that programs fetch
// again and again.
func WriteCalendar(w io.Writer, title, address string, rivers []RiverNews) error {
	cal := ics.NewCalendarFor("Eclose")
	cal.SetProductId("-//Eclose//windows//EN")
	cal.SetName(title)
	cal.SetXWRCalName(title)
	cal.SetDescription(forecast.StandingCaution)
	cal.SetRefreshInterval("PT6H") // RFC 7986, section 5.7; as often as forecasts come at the default schedule
	cal.SetXPublishedTTL("PT6H")
	if address != "" {
		cal.SetUrl(address)
	}
	for _, r := range rivers {
		for _, x := range r.Windows {
			cal.AddVEvent(event(r, x))
		}
	}
	_, err := io.WriteString(w, strings.TrimSpace(cal.Serialize(&ics.SerializationConfiguration{MaxLength: 75, PropertyMaxLength: 75, NewLine: "\r\n"}))+"\r\n")
	return err
}

func event(r RiverNews, w PublishedWindow) *ics.VEvent {
	stamped := w.Changed
	if r.Outlook != nil {
		stamped = r.Outlook.IssuedAt
	}
	e := Event(UID(w.River, w.Group, w.Stage, w.Season), w.From, w.To, w.Changed, stamped,
		fmt.Sprintf("%s %s: %s (estimate)", forecast.UpperFirst(w.Name), w.stageWords(), r.River.Name), w.words(r.Outlook)+" "+forecast.StandingCaution)
	e.SetModifiedAt(w.Changed.UTC())
	e.SetGeo(r.River.Lat, r.River.Lon)
	e.SetStatus(ics.ObjectStatusTentative)
	if w.Cancelled {
		e.SetStatus(ics.ObjectStatusCancelled)
	}
	if r.URL != "" {
		e.SetURL(r.URL)
	}
	return e
}

// words say what is known of a window now.
func (w PublishedWindow) words(o *forecast.Outlook) string {
	if w.Cancelled {
		return "No longer expected by the forecast of " + w.Changed.Format("2 January 2006, 15:04 UTC") + "."
	}
	s := fmt.Sprintf("Estimated window: %s to %s.", w.From.Time().Format("2 January"), w.To.Time().Format("2 January 2006"))
	if o == nil {
		return s
	}
	for i := range o.Stages {
		x := &o.Stages[i]
		if x.Group != w.Group || x.Stage != w.Stage {
			continue
		}
		if best := bestOf(x, max(o.IssueDate(), w.From), w.To); best.Date != 0 {
			s += fmt.Sprintf(" Best day about %s: %s, %s in two hours' watch (calendar only: %s).", best.Date.Short(), forecast.Likelihood(best.P), forecast.Percent(best.P), forecast.Percent(best.PCalendar))
		}
		if h := x.Hours.String(); h != "" {
			s += " Hours: " + h + "."
		}
		s += fmt.Sprintf(" Evidence: %s; %d past seasons of water temperature. Issued %s.", x.Grade.Word(), o.Seasons, o.IssuedAt.UTC().Format("2 January 2006, 15:04 UTC"))
	}
	return s
}

// bestOf is the likeliest day between two.
func bestOf(s *forecast.StageOutlook, from, to forecast.Date) (best forecast.Day) {
	for d := from; d <= to; d++ {
		if x, ok := s.On(d); ok && x.P > best.P {
			best = x
		}
	}
	return best
}
