package forecast

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"example.org/eclose/model/civil"
	"example.org/eclose/model/insects"
)

// Stage is the part of an adult's life that an outlook speaks of.
type Stage string

// The two stages.
const (
	Emergence Stage = "emergence"
	EggLaying Stage = "egg-laying"
)

// Stages in the order in which they happen.
var Stages = []Stage{Emergence, EggLaying}

// Date is a calendar date in the river's zone.
type Date = civil.Date

// DateOf is the date of t in its own location.
func DateOf(t time.Time) Date { return civil.DateOf(t) }

// Range holds the 10, 50 and 90 % points of an uncertain date.
type Range struct {
	P10 Date `json:"p10"`
	P50 Date `json:"p50"`
	P90 Date `json:"p90"`
}

// Window is when the central 80 % of a season's activity falls: it starts when
// 10 % has passed, peaks at the middle and ends when 90 % has passed. Each of
// the three is itself uncertain.
type Window struct {
	Start Range `json:"start"`
	Peak  Range `json:"peak"`
	End   Range `json:"end"`
}

// Day is one day of one group's stage.
type Day struct {
	Date      Date       `json:"date"`
	P         float64    `json:"p"`          // chance that an observer records it in two hours, 0..1
	PCalendar float64    `json:"p_calendar"` // the same from the calendar alone
	Activity  [3]float64 `json:"activity"`   // share of the season's total on this day: 10, 50, 90 % point over members
	Calendar  float64    `json:"activity_calendar"`
}

// Nothing says that neither the forecast nor the calendar expects anything: less
// than can be kept.
func (d Day) Nothing() bool {
	return d.P == 0 && d.PCalendar == 0 && d.Activity == [3]float64{} && d.Calendar == 0
}

// StageOutlook is the outlook of one stage of one group.
type StageOutlook struct {
	Group    string       `json:"group"` // key of the catalogue
	Name     string       `json:"name"`
	Stage    Stage        `json:"stage"`
	Fishable bool         `json:"fishable"`
	Grade    EvidenceCode `json:"grade"`
	Days     Days         `json:"days"`
	Window   Window       `json:"window"`
	Calendar Window       `json:"window_calendar"`
	// PlainLater is by how many days the plain calendar, to which all past seasons
	// are alike, lies after the calendar above, which trusts recent ones more.
	PlainLater int `json:"plain_calendar_later_days"`
	// Basis says what the catalogue's dates were collected over, and so how much of
	// their length is expected at one reach.
	Basis   BasisCode `json:"window_basis,omitempty"`
	Hours   Hours     `json:"hours"`
	Weight  float64   `json:"thermal_weight"` // 0 calendar only .. 1 temperature only
	Early   *float64  `json:"early_days"`     // by which the season runs ahead of this river's usual one; nil if not known
	Reasons []Remark  `json:"reasons"`
	// AllYear reports that the stage knows no season: the window is the whole year
	// and its peak means nothing.
	AllYear bool `json:"all_year,omitempty"`
	// Elsewhere reports that the group lives in other kinds of water than this river's,
	// or that open records near by know others but not it; the config does not name it
	// and nobody has seen it here. Lists leave it out.
	Elsewhere bool `json:"lives_elsewhere,omitempty"`
	// Records is what open records tell of the stage's dates in the region, beside
	// the catalogue's; nil where they tell nothing.
	Records *RecordsWindow `json:"records_window,omitempty"`
	// MovedBy are the sightings of this season that moved the median date most.
	MovedBy []Influence `json:"moved_by,omitempty"`
}

// PlainCalendar is the window by the plain calendar.
func (s *StageOutlook) PlainCalendar() Window {
	later := func(r Range) Range {
		if r.P50 == 0 {
			return r
		}
		n := Date(s.PlainLater)
		return Range{r.P10 + n, r.P50 + n, r.P90 + n}
	}
	return Window{later(s.Calendar.Start), later(s.Calendar.Peak), later(s.Calendar.End)}
}

// PlainChance is the chance of a day by the plain calendar: that of the calendar,
// moved. It is 0 outside the stage's days.
func (s *StageOutlook) PlainChance(d Date) float64 {
	x, _ := s.Days.On(d - Date(s.PlainLater))
	return x.PCalendar
}

// Influence is how far the sightings of one group at one river in this season
// moved a median date: so many days later.
type Influence struct {
	River     string  `json:"river"`
	Group     string  `json:"group"`
	Sightings int     `json:"sightings"`
	Days      float64 `json:"days"`
	// Kind is where they come from, if they are open records of a region.
	Kind SightingKind `json:"kind,omitempty"`
	// The last of them on which something was seen: its stage and day; zero: none was.
	Stage Stage `json:"stage,omitempty"`
	Day   Date  `json:"day,omitempty"`
}

// Words says what moved a date, and how far.
func (i Influence) Words() string {
	if i.Kind == Records {
		return i.recordWords()
	}
	n := "1 sighting"
	if i.Sightings != 1 {
		n = fmt.Sprintf("%d sightings", i.Sightings)
	}
	way := "later"
	if i.Days < 0 {
		way = "earlier"
	}
	if i.Day != 0 && i.Stage != "" {
		what := "hatching"
		if i.Stage == EggLaying {
			what = "egg-laying"
		}
		return fmt.Sprintf("Moved %.1f days %s because %s reported %s of %s on %s (%s).", math.Abs(i.Days), way, i.River, what,
			strings.ReplaceAll(i.Group, "-", " "), i.Day.Time().Format("2 January"), n)
	}
	return fmt.Sprintf("Moved by %s of %s on %s: %.1f days %s.", n, strings.ReplaceAll(i.Group, "-", " "), i.River, math.Abs(i.Days), way)
}

// WaterDay is one day of water temperature, °C.
type WaterDay struct {
	Date        Date     `json:"date"`
	Observed    *float64 `json:"observed_c"` // daily mean, nil if not measured or not trusted
	P10         float64  `json:"p10_c"`
	P50         float64  `json:"p50_c"`
	P90         float64  `json:"p90_c"`
	MaxP50      float64  `json:"max_p50_c"` // warmest hour of the day
	MaxP90      float64  `json:"max_p90_c"`
	Climatology *float64 `json:"climatology_c"` // mean of the seasons on this date, nil if none is known
}

// Departure is how far the water of the last days of this season-year lies from that of
// past seasons.
type Departure struct {
	MeanC float64 `json:"mean_c"`
	Days  int     `json:"days"`
}

// HeatSum is how many degree-days the water has gathered from 1 January, south of
// the equator from 1 July, to the day before the issue: daily means over a base, none below it.
type HeatSum struct {
	Since       Date    `json:"since"` // the first day; 0 in older outlooks, which began on 1 January
	BaseC       float64 `json:"base_c"`
	SumCDays    float64 `json:"sum_c_days"`         // middle over members: gaps are filled
	Climatology float64 `json:"climatology_c_days"` // the same of the mean of past seasons; 0 if none is known
	Measured    int     `json:"measured_days"`      // days of it that are measured
	Days        int     `json:"days"`
}

// Outlook is one issued forecast for one river: immutable once stored.
type Outlook struct {
	River         string         `json:"river"`
	RiverName     string         `json:"river_name"`
	Zone          string         `json:"zone"`
	Lat           float64        `json:"lat"`
	Lon           float64        `json:"lon"`
	IssuedAt      time.Time      `json:"issued_at"`
	DataCutoff    time.Time      `json:"data_cutoff"` // time of the newest reading used
	ModelVersion  string         `json:"model_version"`
	Members       int            `json:"members"`
	Seasons       int            `json:"seasons"` // past seasons of water temperature at this river behind it
	WaterSource   WaterSource    `json:"water_source"`
	WeatherSource WeatherSource  `json:"weather_source"`
	Water         []WaterDay     `json:"water"`
	Flow          *FlowAhead     `json:"flow,omitempty"`  // nil: the river has no flow gauge
	Departure     *Departure     `json:"water_departure"` // nil if not known
	Heat          []HeatSum      `json:"degree_days"`
	Stages        []StageOutlook `json:"stages"`
	Entered       []Entered      `json:"entered,omitempty"` // every sighting that stands behind the dates, by kind
	Notes         []Remark       `json:"notes"`
}

// SinceWords is the first day of the sum for people.
func (h HeatSum) SinceWords() string {
	if h.Since == 0 {
		return "1 January"
	}
	return h.Since.Time().Format("2 January")
}

// YearStart is the first day of the season-year of the issue: 1 January, south of
// the equator 1 July.
func (o *Outlook) YearStart() Date { return yearStart(o.IssueDate(), o.Lat) }

func yearStart(issue Date, latDeg float64) Date {
	if latDeg < 0 {
		return seasonFirst(issue, insects.FromJuly)
	}
	return seasonFirst(issue, insects.FromJanuary)
}

// StandingCaution goes with every outlook, whatever the river does.
const StandingCaution = "This is an insect forecast, not a wading forecast. Flow can rise without warning, especially below dams. " +
	"Local notices, dam operators, licensed guides, local rules and your own eyes overrule it."

// ZoneOf is an IANA time zone, or UTC where this machine does not know it: names
// are checked when they come in, and a date that is a day off beats no answer.
func ZoneOf(name string) *time.Location {
	if z, ok := zones.Load(name); ok {
		return z.(*time.Location) //nolint:forcetypeassert // only those go in
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return time.UTC
	}
	zones.Store(name, zone)
	return zone
}

// zones are those read so far, by name: a page of a hundred rivers asks for them
// thousands of times, and each reading is a file.
var zones sync.Map

func inZone(t time.Time, zone string) time.Time { return t.In(ZoneOf(zone)) }
