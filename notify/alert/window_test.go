package alert

import (
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/civil"
)

// 47 % against the calendar's 45 % is no news, until the window is near.
func TestAWindowThatTheCalendarTellsTooWaitsUntilItIsNear(t *testing.T) {
	issued := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	today := civil.DateOf(issued)
	r := rule{threshold: 0.4, horizon: 14}
	for _, x := range []struct {
		what              string
		ahead, calendarBy civil.Date
		p, calendar       float64
		want              string
	}{
		{"the calendar's chance and date, far off", 10, 0, 0.47, 0.45, ""},
		{"a date two days off the calendar's", 10, 2, 0.47, 0.45, ""},
		{"the same, near", nearDays, 0, 0.47, 0.45, KindOpen},
		{"a day before it is near", nearDays + 1, 0, 0.47, 0.45, ""},
		{"already begun", -2, 0, 0.47, 0.45, KindOpen},
		{"a better chance", 10, 0, 0.56, 0.45, KindOpen},
		{"a worse chance", 10, 0, 0.47, 0.58, KindOpen},
		{"three days earlier than the calendar", 10, newsDays, 0.47, 0.45, KindOpen},
		{"three days later", 10, -newsDays, 0.47, 0.45, KindOpen},
	} {
		s := &Stage{Group: "g", Stage: "emergence", From: (today + x.ahead).String(), To: (today + x.ahead + 20).String(), CalendarFrom: (today + x.ahead + x.calendarBy).String(),
			Days: forecast.DaysOf([]forecast.Day{{Date: today + 6, P: x.p, PCalendar: x.calendar}})}
		kind, _, err := r.decide(sent{streak: 1}, s, issued, today)
		if err != nil || kind != x.want {
			t.Errorf("%s: kind %q, want %q, error %v", x.what, kind, x.want, err)
		}
	}
}

// A date that cannot be read must not pass for one that did not move.
func TestDecideRefusesADateThatCannotBeRead(t *testing.T) {
	issued := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	today := civil.DateOf(issued)
	from := today + 5
	r := rule{threshold: 0.5, horizon: 14}
	was := sent{open: true, at: issued.AddDate(0, 0, -10), from: from, to: from + 20}
	stage := func(start string) *Stage {
		return &Stage{Group: "g", Stage: "emergence", From: start, To: (from + 20).String(), Days: forecast.DaysOf([]forecast.Day{{Date: today + 6, P: 0.9}})}
	}
	if kind, is, err := r.decide(was, stage((from + movedDays + 1).String()), issued, today); err != nil || kind != KindMoved || is.from != from+movedDays+1 {
		t.Fatalf("a window moved by %d days: kind %q, from %v, error %v", movedDays+1, kind, is.from, err)
	}
	if kind, _, err := r.decide(was, stage((from + movedDays).String()), issued, today); err != nil || kind != "" {
		t.Fatalf("a window moved by %d days: kind %q, error %v", movedDays, kind, err)
	}
	for _, bad := range []string{"2026-06-31", "6 June", "0"} {
		if kind, is, err := r.decide(was, stage(bad), issued, today); err == nil || kind != "" || is != was {
			t.Errorf("start %q: kind %q, error %v", bad, kind, err)
		}
	}
}
