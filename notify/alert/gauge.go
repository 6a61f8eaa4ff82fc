package alert

import (
	"fmt"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/civil"
	"example.org/eclose/notify/subscribe"
)

// Kinds of item about a condition at the gauge that a reader asked for.
const (
	KindGauge     = "gauge"      // it is met
	KindGaugeOver = "gauge-over" // it is met no longer
)

// ruleGauge is of a person only.
const ruleGauge = "gauge"

// The rules of conditions at the gauge; our own defaults.
const (
	gaugeReadings    = 2              // readings, or forecasts, in a row that must agree
	gaugeRepeatAfter = 24 * time.Hour // a condition that ended is not sent again sooner
)

// Withholds returns why nothing may be sent now that could bring somebody to this river; ""
// where it may. Missing data withhold as high water does.
func (f *Flow) Withholds(now time.Time) string {
	r := f.Latest
	switch {
	case f.Inhibits():
		return "held back by caution level"
	case r == nil || !r.Known || f.NoData:
		return "caution level unknown"
	case now.Sub(r.At) > NoDataAfter || !r.Until.IsZero() && now.After(r.Until):
		return "the reading is too old"
	}
	for _, w := range r.Warnings {
		if w.Until.IsZero() || w.Until.After(now) {
			return "an official warning is in force"
		}
	}
	return ""
}

// gaugeState is what is known of a condition at the gauge.
type gaugeState struct {
	met, left bool
	value     *Value  // the reading, or nil
	day       string  // of a forecast: the likeliest day
	chance    float64 // of that day
	stage     *Stage  // the likeliest stage asked for; nil if none was
}

// valueOf is the last reading of a variable; nil where there is none, or only an old one.
func (r *Reading) valueOf(v ingest.Variable, now time.Time) *Value {
	var x *Value
	switch v {
	case ingest.Discharge:
		x = r.FlowM3S
	case ingest.GaugeHeight:
		x = r.StageM
	case ingest.WaterTemperature:
		x = r.WaterC
	default: // a condition knows no other
	}
	if x == nil || x.Modelled || now.Sub(x.At) > NoDataAfter {
		return nil
	}
	return x
}

// weigh holds a condition, and the insects asked for with it, against the last reading
// and the last outlook. ok is false where that is unknown.
func (p *pass) weigh(c subscribe.Condition, w rule) (g gaugeState, ok bool, err error) {
	off := w.threshold - min(offBy, w.threshold/2)
	if c.Forecast {
		if p.outlook == nil {
			return g, false, nil
		}
		g.day, g.chance, ok = p.outlook.likeliest(c, p.today, p.today+civil.Date(w.horizon))
		if !ok {
			return g, false, nil
		}
		g.met, g.left = g.chance >= w.threshold, g.chance < off
	} else {
		if p.flow.Latest == nil {
			return g, false, nil
		}
		if g.value = p.flow.Latest.valueOf(c.Variable, p.now); g.value == nil {
			return g, false, nil
		}
		g.met, g.left = c.Met(g.value.V), c.Left(g.value.V)
	}
	if len(w.groups) == 0 {
		return g, true, nil
	}
	if p.outlook == nil {
		return g, false, nil
	}
	best := 0.0
	for i := range p.outlook.Stages {
		st := &p.outlook.Stages[i]
		if !w.wants(st) {
			continue
		}
		if x, _ := w.best(st, p.today); x > best {
			best, g.stage = x, st
		}
	}
	g.met, g.left = g.met && best >= w.threshold, g.left || best < off
	return g, true, nil
}

// decideGauge queues one email when a condition at the gauge is met, and one when it is over.
// Where the river withholds good news nothing is sent and nothing noted: it is weighed
// again at the next reading.
func (p *pass) decideGauge(r *reader) (Item, bool, error) {
	c, err := subscribe.ParseCondition(r.GaugeCondition)
	if err != nil {
		return Item{}, false, fmt.Errorf("condition of %s: %w", r.ID, err)
	}
	e := p.entry(r, ruleGauge)
	w := rule{groups: split(r.GroupList), stages: split(r.StageList), threshold: r.Threshold, horizon: int(r.HorizonDays)}
	g, ok, err := p.weigh(c, w)
	if err != nil || !ok {
		return Item{}, false, err
	}
	mark := p.news
	if g.value != nil {
		mark = fmt.Sprint(db.Micros(g.value.At))
	}
	open := e.State == stateOpen
	change := !open && g.met || open && g.left
	if mark == e.News || !change && e.Streak == 0 {
		return Item{}, false, nil
	}
	if !open && change {
		if at := db.Time(e.SentAt); e.SentAt != 0 && p.now.Sub(at) < gaugeRepeatAfter || p.flow.Withholds(p.now) != "" {
			return Item{}, false, nil
		}
	}
	e.News, e.dirty = mark, true
	if !change {
		e.Streak = 0
		return Item{}, false, nil
	}
	if e.Streak++; e.Streak < gaugeReadings {
		return Item{}, false, nil
	}
	it := Item{Kind: KindGauge, River: p.river, Rule: ruleGauge, News: p.news, Since: e.SentAt, Asked: r.Threshold, After: e.Mail,
		When: r.GaugeCondition, Value: g.value, Day: g.day, Chance: g.chance}
	if g.stage != nil {
		it.Group, it.Stage = g.stage.Group, g.stage.Stage
	}
	if open {
		it.Kind, e.State = KindGaugeOver, ""
	} else {
		e.Episode.Episode = p.thread(r, e)
		e.State, it.After = stateOpen, ""
	}
	e.Streak, e.SentAt = 0, db.Micros(p.now)
	return it, true, nil
}

// gaugeOvertaken says why a condition that was met must not be sent any more.
func (f *Flow) gaugeOvertaken(it Item, now time.Time) string {
	if why := f.Withholds(now); why != "" {
		return why
	}
	c, err := subscribe.ParseCondition(it.When)
	if err != nil || c.Forecast {
		return ""
	}
	if v := f.Latest.valueOf(c.Variable, now); v == nil {
		return "the reading is too old"
	} else if c.Left(v.V) {
		return "overtaken"
	}
	return ""
}

// concerned reports whether a ledger row may have its reader on their way to the river.
func concerned(name string) bool {
	return name == ruleCaution || name == ruleGauge || strings.HasPrefix(name, ruleWindow)
}
