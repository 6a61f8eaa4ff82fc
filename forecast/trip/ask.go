package trip

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// Ask is what somebody wants to know: when they could travel, for how long,
// and what they care for.
type Ask struct {
	From   forecast.Date `json:"from"`
	To     forecast.Date `json:"to"` // included
	Days   int           `json:"days"`
	Groups []string      `json:"groups"` // keys of the catalogue; empty: every group
	Units  wading.Units  `json:"-"`      // come first in words; the other follows
}

// DefaultDays is the length of a stay where none is named.
const DefaultDays = 3

// Bounds of an ask; our own.
const (
	maxSpan = 366
	maxDays = 30
)

// Check returns every fault of a, joined, each naming its field.
func (a Ask) Check() error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	span := int(a.To-a.From) + 1
	switch {
	case a.From == 0 || a.To == 0:
		fault("from, to: both dates are required, e.g. 2026-06-10")
	case span < 1:
		fault("the last day (%s) is before the first day (%s)", a.To, a.From)
	case span > maxSpan:
		fault("from, to: %d days; the limit is one year", span)
	case a.Days > span:
		fault("a %d-day stay does not fit between %s and %s", a.Days, a.From, a.To)
	}
	if a.Days < 1 || a.Days > maxDays {
		fault("days: %d; use 1 to %d", a.Days, maxDays)
	}
	return errors.Join(faults...)
}

// River is what is known of a river that may be travelled to.
type River struct {
	Outlook *forecast.Outlook
	Flows   *Flows          // nil: no flow is known
	Caution *wading.Caution // as judged now; nil: unknown
}

// Invites reports whether a plan may be put as "go": today's caution is known, below
// "better not to wade", and no official warning is in force. Anything else tells when
// and where without an invitation.
func (r River) Invites() bool {
	c := r.Caution
	if c == nil || !c.Known || c.Level >= wading.BetterNot {
		return false
	}
	return !slices.ContainsFunc(c.Reasons, func(x wading.Reason) bool { return strings.HasPrefix(x.Code, "warning.") })
}

// Flows are the past seasons of a river's daily mean flow, and the flows from
// which wading asks for caution.
type Flows struct {
	Day0   forecast.Date
	M3s    []float64      // NaN: unknown
	Limits *wading.Limits // nil: nothing ties the flow here to danger
}

// Groups finds a group of the catalogue by its key.
type Groups func(key string) (*insects.Group, bool)

// cares reports whether a stage is asked for: without a list, all that live in the
// river's kind of water.
func (a Ask) cares(s *forecast.StageOutlook) bool {
	if len(a.Groups) > 0 {
		return s.Fishable && slices.Contains(a.Groups, s.Group)
	}
	return s.Fishable && !s.Elsewhere
}
