package alert

import "time"

const digestHour = 7 // local, in the morning

// habits is when a person may be written to.
type habits struct {
	zone      *time.Location
	quietFrom int // minutes after local midnight
	quietTo   int
	wakeFor3  bool
}

// allowed is the first moment from t on that is not quiet. Both ends are local
// clock times, so a night with a clock change is as long as it is.
func (h habits) allowed(t time.Time, level int) time.Time {
	if h.quietFrom == h.quietTo || level == 3 && h.wakeFor3 {
		return t
	}
	l := t.In(h.zone)
	m := l.Hour()*60 + l.Minute()
	var quiet bool
	if h.quietFrom < h.quietTo {
		quiet = m >= h.quietFrom && m < h.quietTo
	} else {
		quiet = m >= h.quietFrom || m < h.quietTo
	}
	if !quiet {
		return t
	}
	end := time.Date(l.Year(), l.Month(), l.Day(), h.quietTo/60, h.quietTo%60, 0, 0, h.zone)
	if !end.After(t) {
		end = time.Date(l.Year(), l.Month(), l.Day()+1, h.quietTo/60, h.quietTo%60, 0, 0, h.zone)
	}
	return end
}

// sunday is the mail of the next Sunday morning after t.
func (h habits) sunday(t time.Time) time.Time {
	at := h.digest(t)
	for at.In(h.zone).Weekday() != time.Sunday {
		at = h.digest(at)
	}
	return at
}

// digest is the next morning's mail after t.
func (h habits) digest(t time.Time) time.Time {
	l := t.In(h.zone)
	at := time.Date(l.Year(), l.Month(), l.Day(), digestHour, 0, 0, 0, h.zone)
	if !at.After(t) {
		at = time.Date(l.Year(), l.Month(), l.Day()+1, digestHour, 0, 0, 0, h.zone)
	}
	return h.allowed(at, 0)
}
