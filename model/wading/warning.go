package wading

import "time"

// Hazard is what an official warning is about, as far as somebody in the water
// must know.
type Hazard string

// The hazards. A warning of any other kind is not passed on.
const (
	FloodHazard   Hazard = "flood"   // floods, flash floods, ice jams, dam releases
	ThunderHazard Hazard = "thunder" // thunderstorms, lightning
)

// Warning is one official warning in the words of CAP 1.2 (OASIS, Common
// Alerting Protocol, 2010). An empty text or a zero time was not given.
type Warning struct {
	Hazard    Hazard
	Event     string // in the authority's words: "Flash Flood Warning"
	Headline  string
	Authority string // who issued it
	URL       string // where it can be read
	Severity  string // Extreme, Severe, Moderate, Minor, Unknown
	Urgency   string // Immediate, Expected, Future, Past, Unknown
	Certainty string // Observed, Likely, Possible, Unlikely, Unknown
	Onset     time.Time
	Expires   time.Time
	Area      string // where it holds, if not at the river itself: "somewhere in Lower Columbia"
	ID        string // the same in all messages about one event
}

// Warnings are the official warnings for a river. The zero value says that
// nobody was asked; an empty list means "none" only where Known is set.
type Warnings struct {
	Asked bool      // a warning service is configured for the river
	Known bool      // it answered of late: what is not in the list is not in force
	Why   string    // why they are not known: "no answer from nws since 12:00 UTC"
	List  []Warning // where not Known, those of the last answer
}
