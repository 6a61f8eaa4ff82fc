package forecast

import (
	"time"

	"example.org/eclose/model/sun"
	"example.org/eclose/model/wading"
)

// sky is the sun's events at a place on some dates in a row, worked out once however
// many moments are looked at.
type sky struct {
	first Date // of UTC
	days  []sun.Times
}

// skyOver is the sky at a place (degrees) that the light from one moment to another
// depends on: the date of the place is not that of UTC, so a day more on either side.
func skyOver(from, to time.Time, lat, lon float64) sky {
	s := sky{first: DateOf(from.UTC()) - 1}
	for d := s.first; d <= DateOf(to.UTC())+1; d++ {
		s.days = append(s.days, sun.Day(d.Time(), lat, lon))
	}
	return s
}

// light is how light it is at a moment within.
func (s sky) light(t time.Time) wading.Light {
	light := wading.Night
	at := int(DateOf(t.UTC()) - s.first)
	for _, x := range s.days[at-1 : at+2] {
		switch {
		case x.State == sun.AlwaysAbove, !t.Before(x.Rise) && t.Before(x.Set):
			light = wading.Daylight
		case x.CivilState == sun.AlwaysAbove, !t.Before(x.CivilDawn) && t.Before(x.CivilDusk):
			light = min(light, wading.Dusk)
		}
	}
	return light
}

// lightAt is how light it is at a place (degrees) at a moment.
func lightAt(t time.Time, lat, lon float64) wading.Light {
	return skyOver(t, t, lat, lon).light(t)
}

// lightStep is how finely hours are looked through for the darkest moment.
const lightStep = 10 * time.Minute

// DarkestOf is how light it is at a place in the darkest of the hours of a stage
// on a date; unknown hours count as daylight.
func DarkestOf(hours Hours, d Date, zone string, lat, lon float64) wading.Light {
	darkest := wading.Daylight
	loc := ZoneOf(zone)
	y, m, day := d.Time().Date()
	spans := hours.Spans
	if len(spans) == 0 {
		return darkest
	}
	at := func(minute int) time.Time { return time.Date(y, m, day, 0, minute, 0, 0, loc) }
	first, last := spans[0].From, spans[0].To
	for _, s := range spans {
		first, last = min(first, s.From), max(last, s.To)
	}
	above := skyOver(at(first), at(last), lat, lon)
	for _, s := range spans {
		for t, to := at(s.From), at(s.To); !t.After(to) && darkest < wading.Night; t = t.Add(lightStep) {
			darkest = max(darkest, above.light(t))
		}
	}
	return darkest
}
