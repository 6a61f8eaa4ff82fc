package alert

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/model/wading"
)

// Warning is an official warning in force, as far as mails need it.
type Warning struct {
	ID        string    `json:"id"` // the same in all messages about one event
	Event     string    `json:"event"`
	Authority string    `json:"authority,omitempty"`
	Area      string    `json:"area,omitempty"` // where it is not the river itself
	From      time.Time `json:"from,omitzero"`
	Until     time.Time `json:"until,omitzero"` // zero: until further notice
	URL       string    `json:"url,omitempty"`
	Severity  string    `json:"severity,omitempty"`
}

// KindWarning is the kind of an item that tells of official warnings alone,
// where they do not change the level of the caution.
const KindWarning = "warning"

// ruleWarnings is of a person only; its News lists the warnings they were sent.
const ruleWarnings = "warnings"

// warningsOf takes from a caution what mails say of the official warnings that
// have not ended.
func warningsOf(in wading.Warnings, now time.Time) (out []Warning) {
	for _, w := range in.List {
		if in.Known && !w.Expires.IsZero() && !w.Expires.After(now) {
			continue
		}
		out = append(out, Warning{
			ID: w.ID, Event: w.Event, Authority: w.Authority, Area: w.Area, From: w.Onset, Until: w.Expires, URL: w.URL, Severity: w.Severity,
		})
	}
	return out
}

// KnownWarning is a warning as a river's state remembers it. One that goes and
// comes back after a while is another.
type KnownWarning struct {
	ID    string    `json:"id"`
	Since time.Time `json:"since"` // first heard of
	Last  time.Time `json:"last"`  // last heard of
	Grade int       `json:"grade"` // rises when the authority calls it worse
}

// forgotten is how long a warning must be gone to be another when it comes
// back: a feed may drop one for a response or two. Our own default.
const forgotten = 3 * time.Hour

// grade orders severities. One that nobody has called anything stands high.
func grade(severity string) int {
	switch severity {
	case "Minor":
		return 1
	case "Moderate":
		return 2
	case "Extreme":
		return 4
	}
	return 3
}

// Warn takes in the official warnings of a reading and says whether one is new
// or worse than it was. What a warning asks for holds at once: it is no sensor
// that may err once.
func (f *Flow) Warn(r Reading) (changed bool) {
	f.Warned = slices.DeleteFunc(f.Warned, func(w KnownWarning) bool { return r.At.Sub(w.Last) > forgotten })
	for _, w := range r.Warnings {
		i := slices.IndexFunc(f.Warned, func(s KnownWarning) bool { return s.ID == w.ID })
		if i < 0 {
			i = len(f.Warned)
			f.Warned = append(f.Warned, KnownWarning{ID: w.ID, Since: r.At})
		}
		s := &f.Warned[i]
		s.Last = r.At
		if g := grade(w.Severity); g > s.Grade {
			s.Grade, changed = g, true
		}
	}
	if r.Warned > f.Level {
		f.change(r.At, r.Warned)
		changed = true
	}
	return changed
}

// key names a warning, and how grave it was, in a person's ledger.
func (s KnownWarning) key() (name string, grade int) {
	return hash("warning", s.ID, s.Since.UnixMicro())[:16], s.Grade
}

// decideWarnings tells of each warning once, and again when it got worse. said
// is whether this mail carries the caution anyway, whose reasons name them.
func (p *pass) decideWarnings(r *reader, said bool) (Item, bool) {
	f := &p.flow
	var e *entry
	if e = r.ledger[ruleWarnings]; e == nil && len(f.Warned) == 0 {
		return Item{}, false
	}
	e = p.entry(r, ruleWarnings)
	known := map[string]int{}
	for x := range strings.FieldsSeq(e.News) {
		name, g, _ := strings.Cut(x, ":")
		known[name], _ = strconv.Atoi(g) // what we wrote ourselves
	}
	fresh := false
	var all []string
	for _, s := range f.Warned {
		name, g := s.key()
		fresh = fresh || g > known[name]
		all = append(all, name+":"+strconv.Itoa(g))
	}
	news := strings.Join(all, " ")
	if news == e.News {
		return Item{}, false
	}
	it := Item{Kind: KindWarning, River: p.river, Rule: ruleWarnings, News: f.News, Level: f.Level, Was: f.Level, After: e.Mail, Since: e.SentAt, KnownWarnings: e.News}
	e.News, e.dirty = news, true
	if !fresh || said {
		return Item{}, false
	}
	if e.State != stateOpen {
		e.Episode.Episode = p.thread(r, e)
		e.State, it.After = stateOpen, ""
	}
	e.SentAt = p.now.UnixMicro()
	return it, true
}
