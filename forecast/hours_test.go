package forecast

import (
	"math"
	"testing"
	"time"

	"example.org/eclose/model/insects"
)

func hoursOf(text string) (h Hours) {
	_ = h.UnmarshalText([]byte(text)) // it takes any
	return h
}

func TestHoursThatOverlapAreToldAsOne(t *testing.T) {
	for hours, want := range map[string]string{
		"16:45-20:45 and 19:00-21:45": "16:45-21:45", "05:00-10:00 and 19:00-23:00": "05:00-10:00 and 19:00-23:00",
		"19:00-21:00 and 10:00-12:00 and 12:00-13:00": "10:00-13:00 and 19:00-21:00", "22:00-01:00": "22:00-01:00", "": "", "2 h before sunset": "",
	} {
		if got := (Hours{Spans: merged(hoursOf(hours).Spans)}).String(); got != want {
			t.Errorf("%q: %q, want %q", hours, got, want)
		}
	}
}

// At 45 degrees in June a day has 15 and a half hours: on a clock of sun time the sun sets
// about 19:45, and civil dusk ends some 35 minutes later.
func TestTheShareOfLightOfHours(t *testing.T) {
	d := DateOf(time.Date(2026, 6, 10, 0, 0, 0, 0, time.UTC))
	for hours, want := range map[string]float64{"10:00-14:00": 1, "23:00-02:00": 0, "": 1} {
		if got := LitShare(hoursOf(hours), d, "UTC", 45, 0); got != want {
			t.Errorf("%q: %v, want %v", hours, got, want)
		}
	}
	if got := LitShare(hoursOf("19:00-23:00"), d, "UTC", 45, 0); got < 0.3 || got > 0.4 {
		t.Errorf("an evening into the night: %v", got)
	}
}

// A river that follows the air keeps no insects of spring creeks and tailwaters; one that
// does not, or of which too little is known, does. One below a dam keeps them too.
func TestInsectsOfOtherWaterAreToldApart(t *testing.T) {
	follow := func(slope float64, days int) Record {
		var r Record
		for d := range days {
			air := 10 + 10*math.Sin(2*math.Pi*float64(d)/365)
			r.Air = append(r.Air, air)
			r.Water = append(r.Water, 4+slope*air)
		}
		return r
	}
	for _, x := range []struct {
		name      string
		rec       Record
		regulated bool
		habitat   insects.Habitat
		elsewhere bool
	}{
		{"rain-fed", follow(0.9, 800), false, insects.SpringCreek, true},
		{"rain-fed, tailwater insect", follow(0.9, 800), false, insects.Tailwater, true},
		{"rain-fed, riffle insect", follow(0.9, 800), false, insects.Riffle, false},
		{"spring-fed", follow(0.4, 800), false, insects.SpringCreek, false},
		{"below a dam", follow(0.9, 800), true, insects.Tailwater, false},
		{"a short record", follow(0.9, 200), false, insects.SpringCreek, false},
		{"an insect of lakes", follow(0.4, 800), false, insects.Still, true},
	} {
		if got := x.rec.waterKind(x.regulated).elsewhere(x.habitat); got != x.elsewhere {
			t.Errorf("%s: lives elsewhere %v, want %v", x.name, got, x.elsewhere)
		}
	}
}
