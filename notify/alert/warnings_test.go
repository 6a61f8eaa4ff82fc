package alert

import (
	"strings"
	"testing"
	"time"

	"example.org/eclose/model/wading"
)

// warn takes in a caution whose level comes of warnings alone.
func (d *desk) warn(river string, level int, ws ...Warning) {
	d.t.Helper()
	warned := 0
	if len(ws) > 0 {
		warned = level
	}
	d.must(d.s.AddReading(d.t.Context(), Reading{River: river, RiverName: river, Zone: "Europe/London", Gauge: "g", At: d.clock, Level: level, Known: true, Hold: level, Warned: warned, Warnings: ws}))
}

func flood(id, severity string) Warning {
	return Warning{ID: id, Event: "Flood Warning", Authority: "NWS Fells", Severity: severity}
}

func TestAWarningIsToldOnceAndAgainWhenItGetsWorse(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.warn("wend", 3, flood("a", "Severe"))
		d.expect("a warning needs no second reading", d.turn(time.Minute), "wend rise 3")
		for range 5 {
			d.warn("wend", 3, flood("a", "Severe"))
			d.expect("told once", d.turn(10*time.Minute), "")
		}
		d.warn("wend", 3, flood("a", "Severe"), flood("b", "Severe"))
		d.expect("a second one", d.turn(time.Minute), "wend warning 3")
		d.warn("wend", 3, flood("b", "Severe"))
		d.expect("one is over", d.turn(10*time.Minute), "")
		d.warn("wend", 3, flood("a", "Severe"), flood("b", "Severe"))
		d.expect("a feed that dropped one for a response", d.turn(10*time.Minute), "")
		d.warn("wend", 3, flood("a", "Extreme"), flood("b", "Minor"))
		got := d.turn(time.Minute)
		d.expect("one got worse, the other better", got, "wend warning 3")
		if len(got) == 1 && (got[0].Items[0].Reading == nil || len(got[0].Items[0].Reading.Warnings) != 2) {
			t.Errorf("%+v", got[0].Items[0].Reading)
		}
		d.warn("wend", 3, flood("a", "Severe"), flood("b", "Severe"))
		d.expect("back to what was told before", d.turn(10*time.Minute), "")
	})
}

func TestAWarningThatComesBackIsAnother(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.warn("wend", 2, flood("a", "Moderate"), flood("b", "Moderate"))
		d.expect("the first", d.turns(), "wend rise 2")
		for range 14 {
			d.warn("wend", 2, flood("b", "Moderate"))
			d.expect("one is gone, the other stands", d.turn(15*time.Minute), "")
		}
		d.warn("wend", 2, flood("a", "Moderate"), flood("b", "Moderate"))
		d.expect("a day's next storm", d.turns(), "wend warning 2")
	})
}

func TestAWarningMutesGoodNewsAtOnce(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.warn("wend", 2, flood("a", "Moderate"))
		d.outlook("wend", 0.9, "2026-05-20", "2026-06-10")
		for _, l := range d.turns() {
			for _, it := range l.Items {
				if Good(it.Kind) {
					t.Errorf("told of a window under a warning: %s", kinds([]Email{l}))
				}
			}
		}
	})
}

func TestTheMailKnowsTheWarningsOfTheCaution(t *testing.T) {
	now := start
	in := wading.Input{At: now, Flow: wading.Reading{Value: 3, Age: time.Hour, Present: true}, Warnings: wading.Warnings{Asked: true, Known: true, List: []wading.Warning{
		{Hazard: wading.FloodHazard, ID: "a", Event: "Flood Watch", Severity: "Moderate", Expires: now.Add(time.Hour)},
		{Hazard: wading.FloodHazard, ID: "b", Event: "Flood Warning", Severity: "Severe", Expires: now.Add(-time.Minute)},
	}}}
	r := FromCaution(RiverInfo{River: "wend"}, in, now, wading.Metric)
	if len(r.Warnings) != 1 || r.Warnings[0].ID != "a" || r.Warned != 2 || !r.At.Equal(now) {
		t.Errorf("%+v", r)
	}
	in.Warnings.Known = false // nobody says that the other is over
	if r := FromCaution(RiverInfo{River: "wend"}, in, now, wading.Metric); len(r.Warnings) != 2 || r.Warned != 3 {
		t.Errorf("%+v", r)
	}
	in.Warnings = wading.Warnings{Asked: true, Known: true}
	if r := FromCaution(RiverInfo{River: "wend"}, in, now, wading.Metric); r.Warned != 0 || strings.Contains(strings.Join(r.Reasons, " "), "official") {
		t.Errorf("%+v", r)
	}
}

// A warning service that falls silent makes the level unknown: told once, to those
// who were told of a caution, and ended by its answer. Silence ends no warning.
func TestADeadWarningServiceIsToldOnceAndItsReturnEndsThat(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		// The river as the service last told it: a flood alert is in force.
		in := wading.Input{
			Flow: wading.Reading{Value: 3, Present: true}, Water: wading.Reading{Value: 18, Present: true},
			Season: []float64{1, 2, 3, 4, 5, 6}, Years: 9, Record: wading.Record{Days: 3000, LowM3s: 0.5, HighM3s: 40, StuckDays: 9, VisitShare: 1},
			Thunder: wading.Thunder{P: new(float64), Asked: true}, Flood: wading.NoFlood,
			Warnings: wading.Warnings{Asked: true, Known: true, List: []wading.Warning{{Hazard: wading.FloodHazard, ID: "a", Event: "Flood Alert", Severity: "Minor"}}},
		}
		for h := range 8 * 24 {
			in.FlowPast = append(in.FlowPast, wading.Past{Age: time.Duration(h) * time.Hour, Value: 3 + 0.01*float64(h%3)})
		}
		look := func() {
			t.Helper()
			d.must(d.s.AddReading(t.Context(), FromCaution(RiverInfo{River: "wend", RiverName: "wend", Zone: "UTC", Gauge: "g"}, in, d.clock, wading.Metric)))
		}
		look()
		d.expect("the flood alert", d.turns(), "wend rise 2")
		in.Warnings.Known, in.Warnings.Why = false, "no answer from nws since 12:00 UTC"
		told := 0
		for range 40 { // twenty hours, each half hour a reading and no word of the service
			look()
			for _, l := range d.turn(30 * time.Minute) {
				for _, it := range l.Items {
					if it.Kind != KindNoData || it.Reading == nil || !strings.Contains(strings.Join(it.Reading.Reasons, " "), "official warnings (no answer from nws") {
						t.Errorf("told of %s: %+v", it.Kind, it.Reading)
					}
					told++
				}
			}
		}
		if told != 1 {
			t.Errorf("told %d times of the silence", told)
		}
		in.Warnings = wading.Warnings{Asked: true, Known: true} // it answers: none in force
		var after []string
		for range 12 {
			look()
			if got := kinds(d.turn(30 * time.Minute)); got != "" {
				after = append(after, got)
			}
		}
		if got := strings.Join(after, ", "); got != "wend fall 1" {
			t.Errorf("after its return: %q", got)
		}
		in.Warnings.Known, in.Warnings.Why = false, "no answer from nws since 9:00 UTC"
		again := 0
		for range 10 {
			look()
			again += strings.Count(kinds(d.turn(30*time.Minute)), "no-data")
		}
		if again != 0 { // no caution and no window of theirs is open any more
			t.Errorf("a silence that concerns nobody is told %d times", again)
		}
	})
}
