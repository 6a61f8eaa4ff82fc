package alert

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"example.org/eclose/model/civil"
)

// The rules of windows; our own defaults.
const (
	sureBy       = 0.05               // over the threshold by so much opens at once, else two outlooks must agree
	offBy        = 0.10               // under the threshold by so much, twice, closes
	movedDays    = 4                  // a window that moved by more is sent again
	betweenMoves = 2 * 24 * time.Hour // but not more often than this
	reopenAfter  = 7 * 24 * time.Hour // and one that closed does not open again sooner
	nearDays     = 3                  // days ahead from which a window is sent though the calendar says the same
	newsBy       = 0.10               // difference in chance from the calendar's that is news
	newsDays     = 3                  // difference in days of the start from the calendar's that is news
)

// rule is what of a subscription decides about windows.
type rule struct {
	groups, stages []string
	threshold      float64
	horizon        int // days
}

func (r rule) wants(s *Stage) bool {
	if len(r.stages) > 0 && !slices.Contains(r.stages, s.Stage) {
		return false
	}
	if len(r.groups) == 0 {
		return s.Fishable
	}
	return slices.Contains(r.groups, s.Group)
}

// sent is what a person was sent of one window.
type sent struct {
	open     bool
	at       time.Time  // last mail about it, or when it closed
	from, to civil.Date // 0: unknown
	streak   int        // outlooks in a row that would change it
}

// decide compares a stage's outlook, issued on a civil date of the river, with
// what was sent. It returns the kind of email due, or "", and what was sent after it.
func (r rule) decide(t sent, s *Stage, issued time.Time, today civil.Date) (string, sent, error) {
	from, err1 := parseDate(s.From)
	to, err2 := parseDate(s.To)
	if err := errors.Join(err1, err2); err != nil {
		return "", t, fmt.Errorf("window of %s %s: %w", s.Group, s.Stage, err)
	}
	best, calendar := r.best(s, today)
	if !t.open {
		switch {
		case best < r.threshold || to < today:
			t.streak = 0
			return "", t, nil
		case !t.at.IsZero() && issued.Sub(t.at) < reopenAfter:
			return "", t, nil
		case best < r.threshold+sureBy && t.streak == 0:
			t.streak = 1
			return "", t, nil
		case from > today+nearDays && !isNews(s, from, best, calendar):
			t.streak = 1 // it waits until it is near: a calendar says as much
			return "", t, nil
		}
		return KindOpen, sent{open: true, at: issued, from: from, to: to}, nil
	}
	if to < today {
		return KindClosed, sent{at: issued, from: t.from, to: to}, nil
	}
	if best < r.threshold-min(offBy, r.threshold/2) {
		if t.streak++; t.streak < 2 {
			return "", t, nil
		}
		return KindClosed, sent{at: issued, from: t.from, to: t.to}, nil
	}
	t.streak = 0
	if (moved(from, t.from) || moved(to, t.to)) && issued.Sub(t.at) >= betweenMoves {
		return KindMoved, sent{open: true, at: issued, from: from, to: to}, nil
	}
	return "", t, nil
}

// isNews reports whether a window differs from the calendar's by enough for an email ahead
// of time. A calendar that is not known says nothing, so all is news.
func isNews(s *Stage, from civil.Date, best, calendar float64) bool {
	was, err := parseDate(s.CalendarFrom)
	if err != nil || was == 0 || from == 0 {
		return true
	}
	return max(best-calendar, calendar-best) >= newsBy || max(from-was, was-from) >= newsDays
}

// best is the highest chance of a stage on a day within the horizon, and by the calendar
// alone.
func (r rule) best(s *Stage, today civil.Date) (best, calendar float64) {
	for day := today; day <= today+civil.Date(r.horizon); day++ {
		if d, ok := s.Days.On(day); ok {
			best, calendar = max(best, d.P), max(calendar, d.PCalendar)
		}
	}
	return best, calendar
}

// moved reports whether a date moved by more than is worth an email; an unknown date
// did not.
func moved(a, b civil.Date) bool {
	return a != 0 && b != 0 && max(a-b, b-a) > movedDays
}

// parseDate reads a date as the ledger and the facts hold it: empty is unknown.
func parseDate(s string) (civil.Date, error) {
	if s == "" {
		return 0, nil
	}
	return civil.Parse(s)
}
