package diary

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Amount is how much was seen.
type Amount string

// The three amounts. None is a sighting as good as the others.
const (
	None Amount = "none"
	Few  Amount = "few"
	Many Amount = "many"
)

// The stages a sighting may be of, spelt as everywhere.
const (
	Emergence = "emergence"
	EggLaying = "egg-laying"
)

// Sighting is what one observer saw of one stage of one group on one day.
type Sighting struct {
	ID        string    `json:"id"`
	Revision  int       `json:"revision"` // 1, 2, ...; corrections add one
	Day       time.Time `json:"-"`        // midnight UTC of the civil date at the river
	River     string    `json:"river"`
	Group     string    `json:"group"`
	Stage     string    `json:"stage"`
	Amount    Amount    `json:"amount"`
	Hours     float64   `json:"hours"`        // watched
	WaterC    *float64  `json:"water_temp_c"` // °C, nil if not measured
	Notes     string    `json:"notes"`
	Observer  string    `json:"observer"`
	Withdrawn bool      `json:"withdrawn,omitempty"`
	Recorded  time.Time `json:"recorded"` // when this revision was written down

	Origin Origin `json:"origin,omitempty"`
	Author string `json:"author,omitempty"` // pseudonym of a reader or of a neighbouring installation; empty: the owner
	Held   bool   `json:"held,omitempty"`   // the owner keeps it out of the forecast
}

// Origin is how a sighting came into the diary.
type Origin string

// The origins. The owner's own have none.
const (
	Own       Origin = ""
	Reader    Origin = "reader"
	Neighbour Origin = "neighbour"
)

// Date is the civil date as 2006-01-02.
func (s Sighting) Date() string { return s.Day.Format(time.DateOnly) }

// The bounds of plausible values. A water temperature outside them is a slip of
// the pen or of the unit; they are our own default.
const (
	minWaterC, maxWaterC = -1, 40
	maxNotes             = 2000
	maxName              = 80
)

// Check returns every fault of s, joined, each naming its field. A date later
// than tomorrow (zones differ) has not been seen by anybody.
func (s Sighting) Check(now time.Time) error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	switch {
	case s.Day.IsZero():
		fault("date: missing; write as 2026-06-30")
	case s.Day.After(now.Add(24 * time.Hour)):
		fault("date: %s is in the future; write the day on which you watched", s.Date())
	case s.Day.Year() < 1800:
		fault("date: the year %d looks wrong", s.Day.Year())
	}
	for _, f := range []struct{ name, value string }{{"river", s.River}, {"group", s.Group}} {
		if err := checkName(f.value); err != nil {
			fault("%s: %w", f.name, err)
		}
	}
	if s.Stage != Emergence && s.Stage != EggLaying {
		fault("stage: %q; use %s or %s", s.Stage, Emergence, EggLaying)
	}
	if s.Amount != None && s.Amount != Few && s.Amount != Many {
		fault("amount: %q; use none, few or many", s.Amount)
	}
	if !(s.Hours > 0 && s.Hours <= 24) {
		fault("hours: %v; use more than 0 and at most 24", s.Hours)
	}
	if s.WaterC != nil && !(*s.WaterC >= minWaterC && *s.WaterC <= maxWaterC) {
		fault("water temperature: %.1f °C is implausible; was it in °F?", *s.WaterC)
	}
	if n := utf8.RuneCountInString(s.Notes); n > maxNotes {
		fault("notes: %d characters; the limit is %d", n, maxNotes)
	}
	if !utf8.ValidString(s.Notes) || strings.ContainsRune(s.Notes, 0) {
		fault("notes: not valid UTF-8")
	}
	if s.Observer != "" {
		if err := checkName(s.Observer); err != nil {
			fault("observer: %w", err)
		}
	}
	return errors.Join(faults...)
}

func checkName(s string) error {
	switch {
	case s == "":
		return errors.New("it is missing")
	case !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl):
		return fmt.Errorf("%q contains non-text characters", s)
	case s != strings.TrimSpace(s):
		return fmt.Errorf("%q begins or ends with a space", s)
	case utf8.RuneCountInString(s) > maxName:
		return fmt.Errorf("longer than %d characters", maxName)
	}
	return nil
}

// same says whether two sightings tell the same, whenever written.
func (s Sighting) same(o Sighting) bool {
	temp := s.WaterC == nil && o.WaterC == nil ||
		s.WaterC != nil && o.WaterC != nil && math.Abs(*s.WaterC-*o.WaterC) < 1e-9
	return temp && s.Day.Equal(o.Day) && s.River == o.River && s.Group == o.Group && s.Stage == o.Stage &&
		s.Amount == o.Amount && s.Hours == o.Hours && s.Notes == o.Notes && s.Observer == o.Observer && s.Withdrawn == o.Withdrawn &&
		s.Origin == o.Origin && s.Author == o.Author && s.Held == o.Held
}
