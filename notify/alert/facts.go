package alert

import (
	"time"

	"example.org/eclose/forecast"
)

// Value is a measured or modelled number with its time.
type Value struct {
	V        float64   `json:"v"`
	At       time.Time `json:"at"`
	Modelled bool      `json:"modelled,omitempty"`
}

// Stage is what a new outlook says of one stage of one group.
type Stage struct {
	Group        string                `json:"group"`
	Name         string                `json:"name"`
	Stage        string                `json:"stage"` // emergence or egg-laying
	Fishable     bool                  `json:"fishable"`
	Grade        forecast.EvidenceCode `json:"grade"`
	Days         forecast.Days         `json:"days"`
	From         string                `json:"from"` // window, middle estimate
	Peak         string                `json:"peak"`
	To           string                `json:"to"`
	CalendarFrom string                `json:"cal_from"` // the calendar's window
	CalendarTo   string                `json:"cal_to"`
	Hours        forecast.Hours        `json:"hours"`
	Dark         string                `json:"dark,omitempty"` // what the light asks for where the hours reach into dusk or night
	Tie          []string              `json:"tie"`            // one line per imitation: sizes, colours
}

// Outlook is a new outlook of one river, as far as mails need it.
type Outlook struct {
	River     string    `json:"river"`
	RiverName string    `json:"river_name"`
	Zone      string    `json:"zone"`
	Issued    time.Time `json:"issued"`
	CutOff    time.Time `json:"cut_off"`
	Seasons   int       `json:"seasons"` // past seasons behind it
	Stages    []Stage   `json:"stages"`
	WaterC    *Value    `json:"water_c,omitempty"`
	FlowM3S   *Value    `json:"flow_m3s,omitempty"`
	Heat      string    `json:"heat,omitempty"` // advice where the water is too warm for the fish; empty where it is not
	// HeatAhead is the same by the water model for the warmest hour of the day,
	// where that asks for more than the reading. A model never takes Heat away.
	HeatAhead string `json:"heat_ahead,omitempty"`
	Notices   string `json:"notices,omitempty"`
	URL       string `json:"url,omitempty"`

	FlowDays    []forecast.FlowDay `json:"flow_days,omitempty"`  // ahead
	WaterDays   []WaterDay         `json:"water_days,omitempty"` // likewise
	FishableM3s [2]float64         `json:"fishable_m3s"`         // the owner's range; 0, 0 if none is named
	FlowBasis   string             `json:"flow_basis,omitempty"` // what the flow ahead rests on
}

// WaterDay is the daily mean of the water temperature of a day ahead, °C.
type WaterDay struct {
	Date string  `json:"date"`
	P10  float64 `json:"p10"`
	P50  float64 `json:"p50"`
	P90  float64 `json:"p90"`
}

// Reading is the caution worked out from one new reading of a river's gauge.
type Reading struct {
	River     string    `json:"river"`
	RiverName string    `json:"river_name"`
	Zone      string    `json:"zone"`
	Gauge     string    `json:"gauge"` // name and number
	At        time.Time `json:"at"`    // of the reading itself

	// Warnings are the official warnings in force, and Warned the level that
	// they alone ask for.
	Warnings []Warning `json:"warnings,omitempty"`
	Warned   int       `json:"warned,omitempty"`

	// Level is 0..3: at least this, and all of it when Known.
	Level int  `json:"level"`
	Known bool `json:"known"`
	// Doubted says that a reading was doubted: good news must wait.
	Doubted bool `json:"doubted,omitempty"`
	// Unwarned says that the warning service is silent.
	Unwarned bool `json:"unwarned,omitempty"`
	// Hold is the level that the same reading gives with the limits lowered by
	// the margin of the hysteresis; it is never below Level.
	Hold     int      `json:"hold"`
	FastRise bool     `json:"fast_rise,omitempty"`
	Reasons  []string `json:"reasons"` // worst first, with numbers in both units

	FlowM3S *Value    `json:"flow_m3s,omitempty"`
	StageM  *Value    `json:"stage_m,omitempty"`
	WaterC  *Value    `json:"water_c,omitempty"`
	Until   time.Time `json:"until"` // past it the level is unknown
	Notices string    `json:"notices,omitempty"`
	Heat    string    `json:"heat,omitempty"` // advice where the water is too warm for the fish; empty where it is not
}

// Kinds of item in a mail.
const (
	KindRise      = "rise"     // caution level rose
	KindFall      = "fall"     // fell, not to 0
	KindClear     = "clear"    // fell to 0
	KindStillHigh = "standing" // level 3 goes on; the value is stored in outboxes
	KindFlapping  = "flapping" // changing quickly: the higher level is held
	KindNoData    = "no-data"  // no reading since
	KindOpen      = "open"     // a window opened
	KindMoved     = "moved"    // a window moved
	KindClosed    = "closed"   // a window closed
)

// Good says whether an item may make somebody go to the water.
func Good(kind string) bool { return kind == KindOpen || kind == KindMoved || kind == KindGauge }

// caution says whether an item is about water, not insects.
func caution(kind string) bool {
	switch kind {
	case KindOpen, KindMoved, KindClosed, KindGauge, KindGaugeOver:
		return false
	}
	return true
}

// An Item is one piece of news in an email. The facts stand in the news that it names.
type Item struct {
	Kind          string  `json:"kind"`
	River         string  `json:"river"`
	Rule          string  `json:"rule"`
	News          string  `json:"news"`
	Episode       string  `json:"episode"`
	Level         int     `json:"level,omitempty"`
	Was           int     `json:"was,omitempty"`
	Group         string  `json:"group,omitempty"`
	Stage         string  `json:"stage,omitempty"`
	From          string  `json:"from,omitempty"`
	To            string  `json:"to,omitempty"`
	WasFrom       string  `json:"was_from,omitempty"`
	WasTo         string  `json:"was_to,omitempty"`
	After         string  `json:"after,omitempty"`          // key of the mail without which this one makes no sense
	Since         int64   `json:"since,omitempty"`          // microseconds
	Asked         float64 `json:"asked,omitempty"`          // threshold of the reader
	KnownWarnings string  `json:"known_warnings,omitempty"` // warnings that the reader knew before

	// Of a condition at the gauge: itself, the reading or the likeliest day and its chance.
	When   string  `json:"when,omitempty"`
	Value  *Value  `json:"value,omitempty"`
	Day    string  `json:"day,omitempty"`
	Chance float64 `json:"chance,omitempty"`
}

// Email is one mail, ready to be worded and carried.
type Email struct {
	Key       string
	MessageID string // the part before the @
	Thread    string // likewise, of the episode; the same for all its mails
	Person    string // id
	Address   string
	Zone      string
	Units     string
	Kind      string // caution, news or digest
	Level     int
	Attempt   int
	At        time.Time // when it was put together: its Date
	Expires   time.Time
	Items     []EmailItem // worst first
}

// EmailItem is an item with its facts: Reading for cautions, Outlook for
// windows.
type EmailItem struct {
	Item
	Reading *Reading
	Outlook *Outlook
	About   *Stage   // of Outlook: the stage that the item is about
	Caution *Reading // latest caution of the river, for the block above the fold; nil: none known
}
