package warning

import (
	"context"
	"slices"
	"strings"
	"time"
)

// A Warning is one message of a warning service. The fields are those of CAP
// 1.2 unless their comment says otherwise; an empty text or a zero time was
// not given.
type Warning struct {
	Feed        string    `json:"feed"`
	ID          string    `json:"id"`
	Status      string    `json:"status"`   // Actual, Exercise, System, Test, Draft
	MsgType     string    `json:"msg_type"` // Alert, Update, Cancel, Ack, Error
	References  []string  `json:"references,omitempty"`
	Event       string    `json:"event"`
	Urgency     string    `json:"urgency,omitempty"`   // Immediate, Expected, Future, Past, Unknown
	Severity    string    `json:"severity,omitempty"`  // Extreme, Severe, Moderate, Minor, Unknown
	Certainty   string    `json:"certainty,omitempty"` // Observed, Likely, Possible, Unlikely, Unknown
	Sent        time.Time `json:"sent,omitzero"`
	Effective   time.Time `json:"effective,omitzero"`
	Onset       time.Time `json:"onset,omitzero"`
	Expires     time.Time `json:"expires,omitzero"`
	Ends        time.Time `json:"ends,omitzero"` // of the event; an extension of the US National Weather Service
	SenderName  string    `json:"sender_name,omitempty"`
	Headline    string    `json:"headline,omitempty"`
	Instruction string    `json:"instruction,omitempty"`
	Web         string    `json:"web,omitempty"` // http or https
	Area        Area      `json:"area"`

	// Not of CAP.
	Hazard Hazard  `json:"hazard,omitempty"`
	Fit    AreaFit `json:"fit,omitempty"` // how well Area fits the river: see Locate
	// Chain is the same for all messages about one event: a reader who had an
	// email about one needs none about the next.
	Chain string `json:"chain,omitempty"`
}

// Hazard sorts events as far as rivers are concerned.
type Hazard string

// The hazards. Other is empty.
const (
	Flood   Hazard = "flood" // floods, ice jams, dam breaks, and rain that makes them
	Thunder Hazard = "thunder"
)

// The values of CAP that the code compares.
const (
	Actual    = "Actual"
	MsgAlert  = "Alert"
	MsgUpdate = "Update"
	MsgCancel = "Cancel"
	MsgAck    = "Ack"
	MsgError  = "Error"

	Extreme  = "Extreme"
	Severe   = "Severe"
	Moderate = "Moderate"
	Minor    = "Minor"
	Unknown  = "Unknown"

	Observed = "Observed"
	Likely   = "Likely"
	Possible = "Possible"

	Immediate = "Immediate"
	Expected  = "Expected"
	Future    = "Future"
)

// A Source is one feed of warnings. Fetch returns the messages that may
// concern a place, each located; an empty list says that there are none. Every
// error is, or wraps, an *ingest.Error.
type Source interface {
	Name() string
	Fetch(ctx context.Context, p Place) ([]Warning, error)
}

// Until returns when the warning ends: the later of Expires and Ends. Zero: it
// stands until the feed says otherwise.
func (w Warning) Until() time.Time {
	if w.Ends.After(w.Expires) {
		return w.Ends
	}
	return w.Expires
}

// From returns when the event begins: Onset, else Effective, else Sent.
func (w Warning) From() time.Time {
	switch {
	case !w.Onset.IsZero():
		return w.Onset
	case !w.Effective.IsZero():
		return w.Effective
	}
	return w.Sent
}

// Complete fills in what a feed left out with what raises caution: a message
// without a status is taken as actual, one without a type as an alert.
func (w *Warning) Complete() {
	if w.Status == "" {
		w.Status = Actual
	}
	if w.MsgType == "" {
		w.MsgType = MsgAlert
	}
	for _, s := range []*string{&w.Urgency, &w.Severity, &w.Certainty} {
		if *s == "" {
			*s = Unknown
		}
	}
	if w.Event == "" {
		w.Event = "Warning"
	}
	if w.Hazard == "" {
		w.Hazard = hazardOf(w.Event)
	}
	if w.Chain == "" {
		w.Chain = w.ID
	}
}

// InForce returns the messages of one feed that are in force at now, in their
// order: actual alerts and updates that have not ended, without those that a
// later actual message supersedes, cancels or takes back as an error. Messages
// for tests and exercises neither count nor supersede.
func InForce(list []Warning, now time.Time) []Warning {
	over := map[string]bool{}
	for _, w := range list {
		if w.Status == Actual && (w.MsgType == MsgUpdate || w.MsgType == MsgCancel || w.MsgType == MsgError) {
			for _, id := range w.References {
				if id != w.ID {
					over[id] = true
				}
			}
		}
	}
	var out []Warning
	for _, w := range list {
		until := w.Until()
		switch {
		case w.Status != Actual, w.MsgType == MsgCancel, w.MsgType == MsgError, w.MsgType == MsgAck, over[w.ID], w.Fit == Away:
		case !until.IsZero() && !until.After(now):
		default:
			out = append(out, w)
		}
	}
	return out
}

// Concern drops messages that hold elsewhere, but keeps those that end others:
// an update may leave a river out that the alert before it held.
func Concern(list []Warning) []Warning {
	return slices.DeleteFunc(list, func(w Warning) bool { return w.Fit == Away && len(w.References) == 0 })
}

// Follow gives each message of a new list the chain of the message of the old
// list that it updates or repeats.
func Follow(old, list []Warning) {
	chain := map[string]string{}
	for _, w := range old {
		chain[w.ID] = w.Chain
	}
	// References name earlier messages, in any order in the list: the oldest
	// message of a chain that is still known decides.
	byTime := make([]*Warning, len(list))
	for i := range list {
		byTime[i] = &list[i]
	}
	slices.SortStableFunc(byTime, func(a, b *Warning) int { return a.Sent.Compare(b.Sent) })
	for _, w := range byTime {
		for _, id := range append([]string{w.ID}, w.References...) {
			if c := chain[id]; c != "" {
				w.Chain = c
				break
			}
		}
		chain[w.ID] = w.Chain
		for _, id := range w.References {
			if chain[id] == "" {
				chain[id] = w.Chain
			}
		}
	}
}

// Words by which events are sorted, in the languages of the feeds. An event
// that fits neither list is Other: a missing word is mended by the feed's own
// code for the kind of event, where it has one.
var (
	floodWords   = []string{"flood", "hydrologic", "debris flow", "dam break", "dam failure", "ice jam", "rainfall", "heavy rain", "high water"}
	thunderWords = []string{"thunder", "lightning", "tornado"}
)

// hazardOf sorts an event by its English name.
func hazardOf(event string) Hazard {
	e := strings.ToLower(event)
	for _, w := range floodWords {
		if strings.Contains(e, w) {
			return Flood
		}
	}
	for _, w := range thunderWords {
		if strings.Contains(e, w) {
			return Thunder
		}
	}
	return ""
}

// ParseTime reads the times of the feeds: RFC 3339, or the same without a zone,
// which is taken as UTC. What cannot be read is zero, which never ends a
// warning.
func ParseTime(s string) time.Time {
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05", "2006-01-02T15:04Z07:00", "2006-01-02 15:04:05"} {
		if t, err := time.Parse(layout, strings.TrimSpace(s)); err == nil && t.Year() > 1970 && t.Year() < 9000 {
			return t.UTC()
		}
	}
	return time.Time{}
}

// WebLink returns s if it is a link that may stand on a page, else "".
func WebLink(s string) string {
	if (strings.HasPrefix(s, "https://") || strings.HasPrefix(s, "http://")) && !strings.ContainsAny(s, " \"<>\n\r\t") && len(s) < 500 {
		return s
	}
	return ""
}
