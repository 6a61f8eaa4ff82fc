package forecast

import (
	"time"

	"example.org/eclose/model/sun"
	"example.org/eclose/model/wading"
)

// lightAt is how light it is at a place (degrees) at a moment.
func lightAt(t time.Time, lat, lon float64) wading.Light {
	light := wading.Night
	for d := -1; d <= 1; d++ { // the date of the place is not that of UTC
		x := sun.Day(t.UTC().AddDate(0, 0, d), lat, lon)
		switch {
		case x.State == sun.AlwaysAbove, !t.Before(x.Rise) && t.Before(x.Set):
			light = wading.Daylight
		case x.CivilState == sun.AlwaysAbove, !t.Before(x.CivilDawn) && t.Before(x.CivilDusk):
			light = min(light, wading.Dusk)
		}
	}
	return light
}

// lightStep is how finely hours are looked through for the darkest moment.
const lightStep = 10 * time.Minute

// DarkestOf is how light it is at a place in the darkest of the hours of a stage
// on a date. hours are as in StageOutlook: "05:00-10:00 and 19:00-23:00", local;
// hours that cannot be read count as daylight.
func DarkestOf(hours string, d Date, zone string, lat, lon float64) wading.Light {
	darkest := wading.Daylight
	loc := ZoneOf(zone)
	y, m, day := d.Time().Date()
	for _, s := range Spans(hours) {
		from := time.Date(y, m, day, 0, s.From, 0, 0, loc)
		to := time.Date(y, m, day, 0, s.To, 0, 0, loc)
		for t := from; !t.After(to); t = t.Add(lightStep) {
			darkest = max(darkest, lightAt(t, lat, lon))
		}
	}
	return darkest
}
