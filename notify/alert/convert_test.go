package alert

import (
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

func measured(v float64, age time.Duration) wading.Reading {
	return wading.Reading{Value: v, Age: age, Present: true}
}

// week is a week and a day of hourly readings about a value.
func week(v float64, age time.Duration) (out []wading.Past) {
	for h := range 8 * 24 {
		out = append(out, wading.Past{Age: age + time.Duration(h)*time.Hour, Value: v * (1 + 0.001*float64(h%7))})
	}
	return out
}

func TestAJudgementIsAsOldAsItsNewestReading(t *testing.T) {
	high := wading.Input{
		Flow: measured(3, 5*time.Hour), FlowPast: week(3, 5*time.Hour),
		Stage: measured(2.4, 10*time.Minute), StagePast: week(2.4, 10*time.Minute),
		Flood: wading.Flood{ActionM: 2, MinorM: 3, ModerateM: 4, MajorM: 5},
	}
	r := FromCaution(RiverInfo{River: "wend"}, high, start, wading.Metric)
	if r.Level != 3 || !r.Known || !r.At.Equal(start.Add(-10*time.Minute)) {
		t.Errorf("a flood by the height while the flow is dead: level %d known %t at %s", r.Level, r.Known, r.At)
	}
	warned := wading.Input{Flow: measured(3, time.Hour), Flood: wading.NoFlood, Warnings: wading.Warnings{Asked: true, Known: true, List: []wading.Warning{{Hazard: wading.FloodHazard}}}}
	if r := FromCaution(RiverInfo{River: "wend"}, warned, start, wading.Metric); r.Level != 3 || !r.At.Equal(start) {
		t.Errorf("a warning: level %d at %s", r.Level, r.At)
	}
}

// A spate at a second gauge is news though the first sends nothing, and a clock that
// was ahead must not make the true readings after it look old.
func TestAFurtherGaugeIsNews(t *testing.T) {
	in := wading.Input{Flow: measured(3, 5*time.Hour), FlowPast: week(3, 5*time.Hour), Flood: wading.NoFlood}
	up := wading.Input{Flow: measured(30, 10*time.Minute), FlowPast: week(3, 10*time.Minute), Flood: wading.NoFlood}
	up.FlowPast[0].Value = 30
	in.Beside = []wading.Beside{{Gauge: "upper", Input: up}}
	if r := FromCaution(RiverInfo{River: "wend"}, in, start, wading.Metric); r.Level != 3 || !r.At.Equal(start.Add(-10*time.Minute)) || !r.FastRise {
		t.Errorf("level %d at %s, fast %t", r.Level, r.At, r.FastRise)
	}
	in.Beside = nil
	in.Flow.Age = -5 * time.Hour
	if r := FromCaution(RiverInfo{River: "wend"}, in, start, wading.Metric); !r.At.Equal(start) {
		t.Errorf("a reading of the future counts as of %s", r.At)
	}
}

func TestOnlyAServiceThatWasAskedCanBeSilent(t *testing.T) {
	for want, w := range map[bool][]wading.Warnings{true: {{Asked: true}, {Asked: true, Why: "no answer since noon"}}, false: {{}, {Asked: true, Known: true}}} {
		for _, x := range w {
			if r := FromCaution(RiverInfo{River: "wend"}, wading.Input{Warnings: x}, start, wading.Metric); r.Unwarned != want {
				t.Errorf("%+v: unwarned %t", x, r.Unwarned)
			}
		}
	}
}

func TestAReadingThatIsNotBelievedMutesGoodNews(t *testing.T) {
	in := wading.Input{Flow: measured(0.1, 10*time.Minute), FlowPast: week(3, 10*time.Minute), Flood: wading.NoFlood, Light: wading.Night}
	in.FlowPast[0].Value = 0.1
	r := FromCaution(RiverInfo{River: "wend"}, in, start, wading.Metric)
	var f Flow
	f.Read(r)
	if !r.Doubted || !f.Inhibits() {
		t.Errorf("a flow that fell thirtyfold: doubted %t, inhibits %t", r.Doubted, f.Inhibits())
	}
	for _, x := range r.Reasons {
		if strings.Contains(x, "dark") {
			t.Errorf("nightfall is told as news: %q", x)
		}
	}
	in.FlowPast[0].Value, in.Flow.Value = 3, 3
	r = FromCaution(RiverInfo{River: "wend"}, in, start.Add(time.Hour), wading.Metric)
	f.Read(r)
	if r.Doubted || f.Inhibits() {
		t.Errorf("an ordinary flow: doubted %t, inhibits %t, %v", r.Doubted, f.Inhibits(), r.Reasons)
	}
}

func TestALevelIsHeldTenPercentBelowItsLimit(t *testing.T) {
	// Width 20 m whatever the flow: depth times speed is flow over 20.
	g := &wading.Geometry{
		Width: wading.Power{Coef: 20}, Depth: wading.Power{Coef: 0.2, Exp: 0.5}, Velocity: wading.Power{Coef: 0.25, Exp: 0.5}, N: 20, MinFlow: 1, MaxFlow: 100,
	}
	for _, tc := range []struct {
		flow        float64
		level, hold int
	}{
		{16.1, 3, 3}, // 0.8 m2/s from 16 m3/s
		{15, 2, 3},   // within the margin
		{13.7, 2, 3}, // 15 % for level 3
		{13.5, 2, 2},
		{11.5, 1, 2}, // 0.6 from 12: 10 % below is 10.8
		{10.5, 1, 1},
	} {
		in := wading.Input{Flow: measured(tc.flow, time.Minute), Water: measured(18, time.Minute), Geometry: g, Flood: wading.NoFlood}
		r := FromCaution(RiverInfo{River: "wend"}, in, start, wading.Metric)
		if r.Level != tc.level || r.Hold != tc.hold {
			t.Errorf("%.1f m3/s: level %d, held %d; want %d, %d", tc.flow, r.Level, r.Hold, tc.level, tc.hold)
		}
	}
}

func TestAnOutlookKeepsWhatAMailNeeds(t *testing.T) {
	at := func(s string) forecast.Date {
		d, err := time.Parse(time.DateOnly, s)
		if err != nil {
			t.Fatal(err)
		}
		return forecast.DateOf(d)
	}
	mid := func(s string) forecast.Range { return forecast.Range{P50: at(s)} }
	o := forecast.Outlook{
		River: "wend", RiverName: "River Wend", Zone: "Europe/London", IssuedAt: start, Seasons: 9,
		Stages: []forecast.StageOutlook{{
			Group: "blue-winged-olive", Name: "Blue-winged olive", Stage: forecast.Emergence, Fishable: true, Grade: "published", Hours: forecast.Hours{BySun: "0 min to 2 h after sunset"},
			Window: forecast.Window{Start: mid("2026-06-10"), Peak: mid("2026-06-18"), End: mid("2026-06-28")},
			Days:   forecast.DaysOf([]forecast.Day{{Date: at("2026-06-10"), P: 0.4, PCalendar: 0.2}}),
		}},
	}
	x := FromOutlook(o, func(group string, stage forecast.Stage) []string { return []string{group + " " + string(stage)} }, &Value{V: 22, At: start}, nil)
	s := x.Stages[0]
	if s.From != "2026-06-10" || s.Peak != "2026-06-18" || s.To != "2026-06-28" || s.CalendarFrom != "" || s.Days.From.String() != "2026-06-10" || s.Tie[0] != "blue-winged-olive emergence" {
		t.Errorf("%+v", s)
	}
	if x.Heat == "" || x.HeatAhead != "" {
		t.Errorf("22 degrees ask nothing of the angler, or a model that says nothing does: %+v", x)
	}
	// The model speaks where it is graver than the reading or there is none, and
	// is named as a model; a cool model takes nothing away.
	o.Water = []forecast.WaterDay{{Date: o.IssueDate(), MaxP50: 21.5}}
	for _, c := range []struct {
		reading     *Value
		heat, ahead bool
	}{{nil, false, true}, {&Value{V: 15, At: start}, false, true}, {&Value{V: 19, At: start}, true, true}, {&Value{V: 22, At: start}, true, false}} {
		x := FromOutlook(o, nil, c.reading, nil)
		if x.Heat != "" != c.heat || strings.Contains(x.HeatAhead, "modelled") != c.ahead {
			t.Errorf("reading %+v, model 21.5: heat %q, ahead %q", c.reading, x.Heat, x.HeatAhead)
		}
	}
	o.Water[0].MaxP50 = 12
	if x := FromOutlook(o, nil, &Value{V: 22, At: start}, nil); x.Heat == "" || x.HeatAhead != "" {
		t.Errorf("a cool model cleared a warm reading: %+v", x)
	}
}
