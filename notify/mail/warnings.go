package mail

import (
	"strings"

	"example.org/eclose/notify/alert"
)

// warnings lists the official warnings in force: event, who issued it, where,
// until when, and where it can be read.
func (w words) warnings(r *alert.Reading) (out []fact) {
	for _, x := range r.Warnings {
		s := clean(x.Event)
		if x.Authority != "" {
			s += ", " + clean(x.Authority)
		}
		if x.Area != "" {
			s += ", " + clean(x.Area)
		}
		if x.From.After(r.At) {
			s += ", from " + clock(x.From, r.Zone)
		}
		if x.Until.IsZero() {
			s += ", until further notice"
		} else {
			s += ", until " + clock(x.Until, r.Zone)
		}
		if x.URL != "" {
			s += ": " + clean(x.URL)
		}
		out = append(out, fact{"Official warning", s})
	}
	return out
}

// warningSubject names the warnings of an item.
func (w words) warningSubject(it alert.EmailItem) string {
	var events []string
	if it.Reading != nil {
		for _, x := range it.Reading.Warnings {
			events = append(events, clean(x.Event))
		}
	}
	if events == nil {
		return "official warning"
	}
	return "official warning: " + strings.Join(events, ", ")
}
