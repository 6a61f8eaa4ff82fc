package subscribe

import (
	"errors"
	"fmt"
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"time"
)

// How mails come.
const (
	Now    = "now"    // as it happens
	Digest = "digest" // once a morning
	Weekly = "weekly" // on Sunday morning
	Opener = "opener" // only the first windows of a river's season
)

var cadences = []string{Now, Digest, Weekly, Opener}

// Units people may read. Safety text carries both all the same.
const (
	Metric = "metric"
	US     = "us"
)

// Stages that may be asked for.
var stages = []string{"emergence", "egg-laying"}

// Subscription is what a person wants to hear of one river.
type Subscription struct {
	River       string   `json:"river"`
	Groups      []string `json:"groups"`       // empty: any group in a fishable stage
	Stages      []string `json:"stages"`       // empty: both
	Threshold   float64  `json:"threshold"`    // probability, 0..1
	HorizonDays int      `json:"horizon_days"` // how far ahead to look
	Cadence     string   `json:"cadence"`      // Now, Digest, Weekly or Opener
	Cautions    bool     `json:"cautions"`     // also flow cautions
	// When is a Condition at the gauge, empty for none. With one, nothing is sent about
	// windows: a mail comes when the condition is met and, where groups are named, one of
	// them reaches Threshold as well.
	When string `json:"when,omitempty"`
}

// Request is a request for emails that is not yet confirmed.
type Request struct {
	Address       string         `json:"address"`
	Zone          string         `json:"zone"`       // IANA
	Units         string         `json:"units"`      // Metric or US
	QuietFrom     int            `json:"quiet_from"` // minutes after local midnight; equal to QuietTo: no quiet hours
	QuietTo       int            `json:"quiet_to"`
	WakeFor3      bool           `json:"wake_for_3"` // let a level 3 caution through quiet hours
	PerDay        int            `json:"per_day"`    // most mails a day, level 3 apart
	Subscriptions []Subscription `json:"wants"`

	Wording string `json:"wording"` // version of the text the person agreed to
	Network string `json:"-"`       // where the request came from; see NetworkOf
}

// Bounds and defaults of a request; our own.
const (
	DefaultThreshold = 0.5
	defaultHorizon   = 14
	defaultPerDay    = 6
	maxHorizon       = 60
	maxSubscriptions = 50
	maxGroups        = 50
	maxPerDay        = 24
)

// complete fills what was left open.
func (r *Request) complete() {
	def(&r.Zone, "UTC")
	def(&r.Units, Metric)
	def(&r.PerDay, defaultPerDay)
	for i := range r.Subscriptions {
		w := &r.Subscriptions[i]
		def(&w.Threshold, DefaultThreshold)
		def(&w.HorizonDays, defaultHorizon)
		def(&w.Cadence, Now)
		if c, err := ParseCondition(w.When); err == nil {
			w.When = c.String()
		}
	}
}

func def[T comparable](p *T, v T) {
	var zero T
	if *p == zero {
		*p = v
	}
}

// slug is how rivers and groups are named. Nothing else of a stranger's typing
// can reach a mail.
var slug = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// Names says which rivers and groups exist; a nil func accepts any slug.
type Names struct{ River, Group func(string) bool }

// check returns every fault of r, joined, each naming its field.
func (r Request) check(n Names) error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if _, err := ParseAddress(r.Address); err != nil {
		faults = append(faults, err)
	}
	if _, err := time.LoadLocation(r.Zone); err != nil || r.Zone == "Local" || r.Zone == "" {
		fault("zone: %q is not a time zone; write area/city, such as Europe/London", r.Zone)
	}
	if r.Units != Metric && r.Units != US {
		fault("units: %q; use metric or us", r.Units)
	}
	if r.QuietFrom < 0 || r.QuietFrom >= 1440 || r.QuietTo < 0 || r.QuietTo >= 1440 {
		fault("quiet hours: must be between 00:00 and 23:59")
	}
	if r.PerDay < 1 || r.PerDay > maxPerDay {
		fault("per day: %d; use 1 to %d", r.PerDay, maxPerDay)
	}
	if len(r.Subscriptions) == 0 || len(r.Subscriptions) > maxSubscriptions {
		fault("rivers: %d given; use 1 to %d", len(r.Subscriptions), maxSubscriptions)
	}
	seen := map[string]bool{}
	for _, w := range r.Subscriptions {
		switch {
		case !slug.MatchString(w.River) || n.River != nil && !n.River(w.River):
			fault("river: %q is not forecast here", w.River)
			continue
		case seen[w.River]:
			fault("river: %s appears twice", w.River)
		}
		seen[w.River] = true
		if len(w.Groups) > maxGroups {
			fault("groups: %d for %s; use at most %d, or none for any fishable group", len(w.Groups), w.River, maxGroups)
			continue
		}
		for _, g := range w.Groups {
			if !slug.MatchString(g) || n.Group != nil && !n.Group(g) {
				fault("group: %q is not in the catalogue", g)
			}
		}
		for _, s := range w.Stages {
			if !slices.Contains(stages, s) {
				fault("stage: %q; use %s", s, strings.Join(stages, " or "))
			}
		}
		if !(w.Threshold > 0 && w.Threshold < 1) {
			fault("threshold: %v is not a probability between 0 and 1", w.Threshold)
		}
		if w.HorizonDays < 1 || w.HorizonDays > maxHorizon {
			fault("horizon: %d days; use 1 to %d", w.HorizonDays, maxHorizon)
		}
		if _, err := ParseCondition(w.When); w.When != "" && err != nil {
			faults = append(faults, err)
		}
		if !slices.Contains(cadences, w.Cadence) {
			fault("cadence: %q; use %s", w.Cadence, strings.Join(cadences, ", "))
		}
	}
	return errors.Join(faults...)
}

// local is the part before the @ of the addresses we take: a dot-atom of
// RFC 5322, as nearly every mailbox has it. Quoted local parts are legal, and
// have served mostly to smuggle things into other people's commands.
var local = regexp.MustCompile("^[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(\\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*$")

var domain = regexp.MustCompile(`^([A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)+[A-Za-z]([A-Za-z0-9-]{0,61}[A-Za-z0-9])$`)

// ParseAddress returns the one bare address in s, its domain in lower case.
func ParseAddress(s string) (string, error) {
	bad := func(why string) (string, error) {
		return "", fmt.Errorf("email address: %s; write as name@example.org", why)
	}
	if len(s) > 320 {
		return bad("it is too long")
	}
	a, err := mail.ParseAddress(strings.TrimSpace(s))
	if err != nil {
		return bad("it is not a single email address")
	}
	at := strings.LastIndexByte(a.Address, '@')
	l, d := a.Address[:at], strings.ToLower(a.Address[at+1:])
	switch {
	case len(a.Address) > 254 || len(l) > 64:
		return bad("it is too long")
	case !local.MatchString(l):
		return bad("the part before the @ contains unsupported characters")
	case !domain.MatchString(d):
		return bad("the part after the @ is not a domain name")
	}
	return l + "@" + d, nil
}

// fold is the address as compared.
func fold(address string) string { return strings.ToLower(address) }
