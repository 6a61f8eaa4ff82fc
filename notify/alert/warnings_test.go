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
