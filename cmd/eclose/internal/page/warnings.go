package page

import (
	"strings"
	"time"

	"example.org/eclose/model/wading"
)

// officialWarning is an official warning as the pages show it.
type officialWarning struct {
	Event, By, Area string
	When            string
	URL             string
}

// warningLines lists the official warnings that have not ended.
func warningLines(in wading.Warnings, zone string, now time.Time) (out []officialWarning) {
	place, err := time.LoadLocation(zone)
	if err != nil {
		place = time.UTC
	}
	clock := func(t time.Time) string { return t.In(place).Format("15:04 MST on Mon 2 Jan") }
	for _, w := range in.List {
		if in.Known && !w.Expires.IsZero() && !w.Expires.After(now) {
			continue
		}
		x := officialWarning{Event: w.Event, By: w.Authority, Area: w.Area, When: "until further notice"}
		if !w.Expires.IsZero() {
			x.When = "until " + clock(w.Expires)
		}
		if w.Onset.After(now) {
			x.When = "from " + clock(w.Onset) + " " + x.When
		}
		if strings.HasPrefix(w.URL, "https://") || strings.HasPrefix(w.URL, "http://") {
			x.URL = w.URL
		}
		out = append(out, x)
	}
	return out
}
