package forecast

import (
	"testing"
	"time"

	"example.org/eclose/model/sun"
	"example.org/eclose/model/wading"
)

// slowLight looks at each moment by itself.
func slowLight(t time.Time, lat, lon float64) wading.Light {
	light := wading.Night
	for d := -1; d <= 1; d++ {
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

// The sky worked out once for all hours of a stage tells the same as moment by moment,
// on both sides of the date line, over midnight and where the sun does not set.
func TestTheDarkestHourIsTheSameAsMomentByMoment(t *testing.T) {
	seen := map[wading.Light]int{}
	for _, place := range []struct {
		zone     string
		lat, lon float64
	}{{"America/Los_Angeles", 45.2, -131.4}, {"Pacific/Auckland", -43.5, 172.6}, {"Pacific/Kiritimati", 1.9, -157.4}, {"Europe/Oslo", 66.2, 15.1}, {"Europe/Oslo", 69.6, 18.9}} {
		zone := ZoneOf(place.zone)
		for day := 0; day < 365; day += 5 {
			date := DateOf(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)) + Date(day)
			for _, text := range []string{"05:00-10:00 and 19:00-23:00", "11:30-15:00", "22:00-02:00", "21:00-21:30 and 04:00-05:00"} {
				hours, want := hoursOf(text), wading.Daylight
				y, m, d := date.Time().Date()
				for _, s := range hours.Spans {
					to := time.Date(y, m, d, 0, s.To, 0, 0, zone)
					for at := time.Date(y, m, d, 0, s.From, 0, 0, zone); !at.After(to); at = at.Add(lightStep) {
						want = max(want, slowLight(at, place.lat, place.lon))
					}
				}
				seen[want]++
				if got := DarkestOf(hours, date, place.zone, place.lat, place.lon); got != want {
					t.Fatalf("%s, %s on %s: %v, moment by moment %v", place.zone, hours, date, got, want)
				}
			}
		}
	}
	if len(seen) != 3 {
		t.Errorf("not every light was met: %v", seen)
	}
}
