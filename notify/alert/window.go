package alert

import (
	"slices"
	"time"
)

// The rules of windows; our own defaults.
const (
	sureBy       = 0.05               // over the threshold by so much opens at once, else two outlooks must agree
	offBy        = 0.10               // under the threshold by so much, twice, closes
	movedDays    = 4                  // a window that moved by more is told again
	betweenMoves = 2 * 24 * time.Hour // but not more often than this
	reopenAfter  = 7 * 24 * time.Hour // and one that closed does not open again sooner
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

// sent is what a person was told of one window.
type sent struct {
	open     bool
	at       time.Time // last mail about it, or when it closed
	from, to string
	streak   int // outlooks in a row that would change it
}

// decide compares a stage's outlook, issued on a civil date of the river, with
// what was told. It returns the kind of mail due, or "", and what is then told.
func (r rule) decide(t sent, s *Stage, issued time.Time, today string) (string, sent) {
	best := 0.0
	last := addDays(today, r.horizon)
	for _, d := range s.Days {
		if d.Date >= today && d.Date <= last {
			best = max(best, d.P)
		}
	}
	if !t.open {
		switch {
		case best < r.threshold || s.To < today:
			t.streak = 0
			return "", t
		case !t.at.IsZero() && issued.Sub(t.at) < reopenAfter:
			return "", t
		case best < r.threshold+sureBy && t.streak == 0:
			t.streak = 1
			return "", t
		}
		return KindOpen, sent{open: true, at: issued, from: s.From, to: s.To}
	}
	if s.To < today {
		return KindClosed, sent{at: issued, from: t.from, to: s.To}
	}
	if best < r.threshold-min(offBy, r.threshold/2) {
		if t.streak++; t.streak < 2 {
			return "", t
		}
		return KindClosed, sent{at: issued, from: t.from, to: t.to}
	}
	t.streak = 0
	if (daysBetween(s.From, t.from) > movedDays || daysBetween(s.To, t.to) > movedDays) && issued.Sub(t.at) >= betweenMoves {
		return KindMoved, sent{open: true, at: issued, from: s.From, to: s.To}
	}
	return "", t
}

func addDays(date string, n int) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.AddDate(0, 0, n).Format(time.DateOnly)
}

// daysBetween is the distance of two dates in days; 0 where one is not a date.
func daysBetween(a, b string) int {
	if a == b {
		return 0
	}
	x, err1 := time.Parse(time.DateOnly, a)
	y, err2 := time.Parse(time.DateOnly, b)
	if err1 != nil || err2 != nil {
		return 0
	}
	d := int(x.Sub(y).Hours() / 24)
	return max(d, -d)
}
