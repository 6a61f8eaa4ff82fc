package forecast

import (
	"strings"
	"testing"
	"time"

	"example.org/eclose/model/wading"
)

// A modelled value can raise what is asked and never lowers what a thermometer
// asks for.
func TestAModelClearsNoWarningOfAThermometer(t *testing.T) {
	at := time.Date(2026, 7, 20, 18, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name     string
		now      Reading
		modelled float64
		want     wading.FishAdvice
		words    string
	}{
		{"warm by the thermometer, cool by the model", Reading{Value: 21.5, At: at.Add(-time.Hour)}, 12, wading.FishStop, "measured"},
		{"cool by the thermometer, warm by the model", Reading{Value: 12, At: at.Add(-time.Hour)}, 21.5, wading.FishStop, "modelled"},
		{"the reading is old", Reading{Value: 12, At: at.Add(-30 * time.Hour)}, 20.5, wading.FishRest, "no reading in the last 24 hours"},
		{"no thermometer", Reading{}, 12, wading.FishNone, "modelled"},
	} {
		got, words := FishToday(c.now, at, c.modelled)
		if got != c.want || !strings.Contains(words, c.words) {
			t.Errorf("%s: %s, %q", c.name, got, words)
		}
	}
}

func TestTheNearestRiverIsTheNearest(t *testing.T) {
	a := River{Lat: 54.4, Lon: -2.9}
	if d := distanceKm(a, River{Lat: 55.4, Lon: -2.9}); d < 111 || d > 111.4 {
		t.Errorf("a degree of latitude is %.1f km", d)
	}
	if d := distanceKm(a, River{Lat: 54.4, Lon: -1.9}); d < 64 || d > 65.5 {
		t.Errorf("a degree of longitude there is %.1f km", d)
	}
}
