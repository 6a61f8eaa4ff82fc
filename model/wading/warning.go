package wading

import (
	"fmt"
	"time"
)

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

// warningAhead is how far ahead a warning's onset counts as now. Our own
// default: a day on the water, as for thunder.
const warningAhead = 12 * time.Hour

// level is the caution that a warning asks for at a moment. Any flood or thunder
// warning in force mutes good news, so it is at least BetterNot; KeepOut is for
// those that the authority does not call moderate, minor or merely possible.
func (w Warning) level(now time.Time) Level {
	if w.Onset.Sub(now) > warningAhead {
		return Care
	}
	mild := w.Severity == "Moderate" || w.Severity == "Minor" || w.Urgency == "Future" || w.Certainty == "Possible" || w.Certainty == "Unlikely"
	if mild || w.Hazard == ThunderHazard && w.Severity != "Extreme" && w.Severity != "Severe" {
		return BetterNot
	}
	return KeepOut
}

// over reports whether a warning has ended. One without an end has not.
func (w Warning) over(now time.Time) bool { return !w.Expires.IsZero() && !w.Expires.After(now) }

func (w Warning) text(zone *time.Location) string {
	t := w.Event
	if t == "" {
		t = w.Headline
	}
	if w.Authority != "" {
		t += " (" + w.Authority + ")"
	}
	if w.Area != "" {
		t += ", " + w.Area
	}
	if !w.Expires.IsZero() {
		t += ", until " + clock(w.Expires, zone)
	}
	return t
}

// byWarnings lets the official warnings raise the level. Those of an answer that
// is no longer fresh still count, past their end too: nobody has said that they
// are over.
func (a *assessment) byWarnings() {
	w := a.in.Warnings
	for _, x := range w.List {
		if w.Known && x.over(a.in.At) {
			continue
		}
		a.put("warning."+string(x.Hazard), x.level(a.in.At), true, func(Units) string {
			return fmt.Sprintf("official warning: %s", x.text(a.in.Zone))
		})
	}
	switch {
	case w.Known:
	case w.Asked:
		why := w.Why
		if why == "" {
			why = "the warning service did not answer"
		}
		a.missing("official warnings ("+why+")", KeepOut)
	default:
		a.unknown("official warnings (no warning service is configured for this river)")
	}
}
