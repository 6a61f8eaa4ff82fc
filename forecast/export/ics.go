package export

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"math"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/chance"
	ics "github.com/arran4/golang-ical"
)

// icsSink writes a calendar (RFC 5545) with one all-day event for the window of
// each river, group and stage: from its median start to its median end. An event
// keeps its UID from issue to issue, so that a calendar that is fed again moves
// the event and does not double it. Stages that do not matter on the water, and
// those without a window, get no event.
type icsSink struct {
	b       *bufio.Writer
	batch   *[]Row
	config  *ics.SerializationConfiguration
	comment string // for each event, which may be read alone
	last    Row
	pMax    float64
	flow    []string   // chance of fishable flow on the first days of the window
	water   [2]float64 // lowest and highest median of the water on the days of the window; NaN without any
	begun   bool
}

func newICS(w io.Writer, batch *[]Row, m Meta) (sink, error) {
	s := &icsSink{batch: batch, comment: m.comment(), b: bufio.NewWriterSize(w, 1<<16),
		config: &ics.SerializationConfiguration{MaxLength: 75, PropertyMaxLength: 75, NewLine: "\r\n"}}
	cal := ics.NewCalendarFor("Eclose")
	cal.SetProductId("-//Eclose//outlook " + Outlooks.Version + "//EN")
	cal.SetName(m.Title)
	cal.SetXWRCalName(m.Title)
	cal.SetDescription(m.Source + ". " + m.comment())
	// The head now, the events as they come, the end at the end.
	head, found := strings.CutSuffix(cal.Serialize(s.config), "END:VCALENDAR\r\n")
	if !found {
		return nil, fmt.Errorf("the calendar library ends a calendar in an unknown way")
	}
	_, err := s.b.WriteString(head)
	return s, err
}

func (s *icsSink) write(rows int) error {
	for _, r := range (*s.batch)[:rows] {
		if !s.begun || r.River != s.last.River || r.Group != s.last.Group || r.Stage != s.last.Stage || !r.IssuedAt.Equal(s.last.IssuedAt) {
			if err := s.flush(); err != nil {
				return err
			}
			s.begun, s.pMax, s.flow, s.water = true, 0, nil, [2]float64{math.NaN(), math.NaN()}
		}
		s.pMax = max(s.pMax, r.P)
		if c := r.WaterC[1]; !math.IsNaN(c) && r.Day >= r.Window.Start.P50 && r.Day <= r.Window.End.P50 {
			if math.IsNaN(s.water[0]) {
				s.water = [2]float64{c, c}
			}
			s.water = [2]float64{min(s.water[0], c), max(s.water[1], c)}
		}
		if !math.IsNaN(r.PFishable) && r.LeadDays >= 0 && r.Day >= r.Window.Start.P50 && r.Day <= r.Window.End.P50 && len(s.flow) < flowDays {
			s.flow = append(s.flow, r.Day.Short()+" "+forecast.Percent(r.PFishable))
		}
		s.last = r
	}
	return nil
}

func (s *icsSink) flush() error {
	r := s.last
	if !s.begun || !r.Fishable || r.Window.Start.P50 == 0 || r.Window.End.P50 == 0 {
		return nil
	}
	if r.Window.End.P50-r.Window.Start.P50 >= 364 { // there all year: no event
		return nil
	}
	// The year of the peak is part of the identity: next season is another event.
	e := ics.NewEvent(fmt.Sprintf("%s.%s.%s.%d@eclose", r.River, r.Group, r.Stage, r.Window.Peak.P50.Time().Year()))
	e.SetDtStampTime(r.IssuedAt)
	e.SetAllDayStartAt(r.Window.Start.P50.Time())
	e.SetAllDayEndAt((r.Window.End.P50 + 1).Time()) // the end is the first day outside
	e.SetSummary(fmt.Sprintf("%s, %s: %s", r.GroupName, r.Stage, r.RiverName))
	e.SetGeo(r.Lat, r.Lon)
	e.SetTimeTransparency(ics.TransparencyTransparent) // nobody is busy because insects hatch
	e.SetDescription(fmt.Sprintf(
		"Window %s to %s, peak about %s (80%% ranges: start %s to %s, end %s to %s). Best day: %s, %s. Hours: %s. Issued %s; evidence: %s; %d past seasons. %s%s%s",
		r.Window.Start.P50, r.Window.End.P50, r.Window.Peak.P50,
		r.Window.Start.P10, r.Window.Start.P90, r.Window.End.P10, r.Window.End.P90,
		chance.PercentInText(s.pMax), chance.Likelihood(s.pMax), cmp.Or(r.Hours, "unknown"), r.IssuedAt.UTC().Format("2006-01-02 15:04 UTC"),
		cmp.Or(r.Grade.Words(), "unknown"), r.SeasonsBehind, s.waterWords(), s.flowWords(), s.comment))
	return e.SerializeTo(s.b, s.config)
}

// flowDays is of how many days an event tells the chance of fishable flow. Our own.
const flowDays = 7

func (s *icsSink) waterWords() string {
	if math.IsNaN(s.water[0]) {
		return ""
	}
	return fmt.Sprintf("Water on the days of the window, modelled median of the daily mean: %.1f to %.1f °C. ", s.water[0], s.water[1])
}

func (s *icsSink) flowWords() string {
	if len(s.flow) == 0 {
		return ""
	}
	return "Chance of fishable flow (modelled; it says nothing about wading): " + strings.Join(s.flow, ", ") + ". "
}

func (s *icsSink) close() error {
	if err := s.flush(); err != nil {
		return err
	}
	s.b.WriteString("END:VCALENDAR\r\n") //nolint:errcheck // the writer keeps its first error for Flush
	return s.b.Flush()
}
