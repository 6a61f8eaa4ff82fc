package alert

import (
	"slices"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/civil"
	"example.org/eclose/model/wading"
)

// FromOutlook takes from an outlook what mails need. tie gives the imitations of
// a stage, one line each; water and flow are the latest readings, nil where
// there are none.
func FromOutlook(o forecast.Outlook, tie func(group string, stage forecast.Stage) []string, water, flow *Value) Outlook {
	out := Outlook{
		River: o.River, RiverName: o.RiverName, Zone: o.Zone, Issued: o.IssuedAt, CutOff: o.DataCutoff, Seasons: o.Seasons,
		WaterC: water, FlowM3S: flow,
	}
	out.ahead(&o)
	measured := wading.FishNone
	if water != nil {
		out.Heat, measured = heatWords(water.V), wading.AdviceFor(water.V)
	}
	if w, ok := o.WaterOn(o.IssueDate()); ok && wading.Graver(wading.AdviceFor(w.MaxP50), measured) {
		out.HeatAhead = "modelled, not measured, for the day's warmest hour: " + heatWords(w.MaxP50)
	}
	for _, s := range o.Stages {
		x := Stage{
			Group: s.Group, Name: s.Name, Stage: string(s.Stage), Fishable: s.Fishable, Grade: s.Grade, Hours: s.Hours,
			From: date(s.Window.Start.P50), Peak: date(s.Window.Peak.P50), To: date(s.Window.End.P50),
			CalendarFrom: date(s.Calendar.Start.P50), CalendarTo: date(s.Calendar.End.P50),
			Days: s.Days,
		}
		if s.AllYear { // no window opens or closes
			x.From, x.Peak, x.To, x.CalendarFrom, x.CalendarTo = "", "", "", "", ""
		}
		x.Dark = forecast.DarkestOf(s.Hours, s.Window.Peak.P50, o.Zone, o.Lat, o.Lon).OfHours()
		if tie != nil {
			x.Tie = tie(s.Group, s.Stage)
		}
		out.Stages = append(out.Stages, x)
	}
	return out
}

// date writes a date as facts and ledger hold it; empty if unknown.
func date(d civil.Date) string {
	if d == 0 {
		return ""
	}
	return d.String()
}

// heatWords is what warm water asks of somebody who fishes for trout; empty
// where it asks nothing.
func heatWords(waterC float64) string {
	a := wading.AdviceFor(waterC)
	if a == wading.FishNone {
		return ""
	}
	return "water at " + wading.Metric.Temperature(waterC) + ": " + a.Words()
}

// RiverInfo is what a caution does not know of its river.
type RiverInfo struct {
	River, RiverName, Zone string
	Gauge                  string // name and number
	Notices                string // local rules, operator's telephone
}

// FromCaution judges a river by what is known at now, and once more with lower
// limits for the way down: a level falls only when the flow is 10 % below the
// limit that raised it, 15 % for level 3 (our own default). Nightfall is no news:
// the light is that of the hours somebody asks for, so it is left out.
func FromCaution(p RiverInfo, in wading.Input, now time.Time, u wading.Units) Reading {
	in.At, in.Light = now, wading.Daylight
	c := wading.Assess(in)
	r := Reading{
		River: p.River, RiverName: p.RiverName, Zone: p.Zone, Gauge: p.Gauge, Notices: p.Notices,
		Level: int(c.Level), Known: c.Known, Doubted: c.Doubted, Hold: int(max(c.Level, held(in))), Unwarned: in.Warnings.Asked && !in.Warnings.Known,
		FlowM3S: value(in.Flow, now), StageM: value(in.Stage, now), WaterC: value(in.Water, now),
	}
	// The judgement is as old as its newest reading: one sensor may be dead while
	// the other shows a flood. A warning is news by itself.
	sensors := []*Value{r.FlowM3S, r.StageM}
	for _, b := range in.Beside {
		sensors = append(sensors, value(b.Flow, now), value(b.Stage, now))
	}
	for _, v := range sensors {
		if v != nil && v.At.After(r.At) {
			r.At = v.At
		}
	}
	// A clock that was ahead must not make the next true reading look old.
	if r.At.IsZero() || r.At.After(now) || len(in.Warnings.List) > 0 {
		r.At = now
	}
	r.Until, r.Warnings = c.Until, warningsOf(in.Warnings, now)
	for _, x := range c.View(u).Reasons {
		if strings.HasPrefix(x.Code, "warning.") {
			r.Warned = max(r.Warned, x.Level)
		}
		r.FastRise = r.FastRise || x.Code == "rise.fast"
		if x.Level == int(c.Level) || x.Level > int(wading.Quiet) {
			r.Reasons = append(r.Reasons, x.Text)
		}
	}
	for _, s := range c.Unknowns {
		r.Reasons = append(r.Reasons, "unknown: "+s)
	}
	if r.WaterC != nil {
		r.Heat = heatWords(r.WaterC.V)
	}
	return r
}

// held is the level of the same river with its flow and height as high as the
// limits are lowered.
func held(in wading.Input) wading.Level {
	higher := func(share float64) wading.Level {
		up := func(x *wading.Input) {
			x.Flow.Value /= share
			if x.StageOnly {
				x.Stage.Value /= share
			}
		}
		x := in
		up(&x)
		x.Beside = slices.Clone(in.Beside)
		for i := range x.Beside {
			up(&x.Beside[i].Input)
		}
		return wading.Assess(x).Level
	}
	l := higher(0.9)
	if l < wading.KeepOut && higher(0.85) == wading.KeepOut {
		l = wading.KeepOut
	}
	return l
}

func value(r wading.Reading, now time.Time) *Value {
	if !r.Present {
		return nil
	}
	return &Value{V: r.Value, At: now.Add(-r.Age), Modelled: r.Modeled}
}
