package forecast

import (
	"testing"
	"time"
)

// Common practice, no source: in a typical Rocky Mountain freestone the egg-
// layers of the large orange fall caddis are a matter of mid-September and
// October and its emergence is no fishing event; the small dark fall caddis lays
// at dusk. Here through the whole outlook, from river, latitude and water.
func TestTheFallCaddisOfARockyMountainFreestone(t *testing.T) {
	rec := beckRecord(t, time.Date(2025, 8, 1, 12, 0, 0, 0, time.UTC))
	for _, lat := range []float64{39, 43, 47} {
		r := beck
		r.Lat, r.Lon = lat, -111
		r.Groups = []string{"october-caddis", "small-dark-fall-caddis"}
		o, err := rec.Outlook(r, catalogue(t), Options{Members: 60})
		if err != nil {
			t.Fatal(err)
		}
		found := 0
		for _, s := range o.Stages {
			year := s.Window.Peak.P50.Time().Year()
			day := func(m time.Month, d int) Date { return DateOf(time.Date(year, m, d, 0, 0, 0, 0, time.UTC)) }
			switch s.Group + " " + string(s.Stage) {
			case "october-caddis emergence":
				found++
				if s.Fishable {
					t.Error("its emergence counts as fishable")
				}
			case "october-caddis egg-laying":
				found++
				// A few days of grace; the outlook's window is a range itself.
				if w := s.Window; !s.Fishable || w.Start.P50 < day(time.September, 10) || w.End.P50 > day(time.November, 5) {
					t.Errorf("at %g degrees it lays from %s to %s, peak %s", lat, w.Start.P50, w.End.P50, w.Peak.P50)
				}
			case "small-dark-fall-caddis egg-laying":
				found++
				// The sun sets between 17:00 and 20:00 there from September to November.
				if from := s.Hours.First(); !s.Fishable || from < 16*60 || from > 20*60+30 {
					t.Errorf("at %g degrees the small one lays at %s", lat, s.Hours)
				}
			}
		}
		if found != 3 {
			t.Errorf("%d of 3 stages are in the outlook", found)
		}
	}
}
