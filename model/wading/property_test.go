package wading

import (
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// generated is any river with a week and more of hourly readings: steady, rising,
// falling or shaken, low or high, with or without each thing that may be known.
func generated(t *rapid.T, g, few *Geometry, fit *StageFit) Input {
	yes := func(of int, what string) bool { return rapid.IntRange(1, of).Draw(t, what) == 1 }
	unit := rapid.Float64Range(0, 1)
	minutes := func(what string) time.Duration {
		return time.Duration(rapid.IntRange(0, 110).Draw(t, what)) * time.Minute
	}
	in := Input{
		At: noon, Water: measured(22-17*math.Pow(unit.Draw(t, "cold"), 2), minutes("water age")), Regulated: yes(8, "dam"),
		Thunder: Thunder{P: new(math.Pow(unit.Draw(t, "thunder"), 3)), Asked: true}, Warnings: Warnings{Asked: true, Known: true},
		Light: Light(max(0, rapid.IntRange(-8, 2).Draw(t, "light"))), Flood: NoFlood,
	}
	base := math.Exp(-1 + 4*unit.Draw(t, "base flow"))
	wave := 0.3 * unit.Draw(t, "wave")
	factor, hours, begun := math.Exp(4*unit.Draw(t, "event")-2), rapid.IntRange(1, 30).Draw(t, "event hours"), rapid.IntRange(0, 40).Draw(t, "event begun")
	if !yes(3, "event") {
		factor = 1
	}
	age := minutes("flow age")
	const n = 8 * 24
	for i := range n {
		back := n - 1 - i
		done := min(max(float64(begun+1-back)/float64(hours), 0), 1)
		q := base * math.Pow(factor, done) * (1 + wave*math.Sin(float64(i)/30) + 0.002*math.Sin(float64(i)))
		in.FlowPast = append(in.FlowPast, Past{age + time.Duration(back)*time.Hour, q})
		in.StagePast = append(in.StagePast, Past{age + time.Duration(back)*time.Hour, heightAt(q)})
	}
	in.Flow = measured(in.FlowPast[n-1].Value, age)
	in.Stage = measured(in.StagePast[n-1].Value, age)
	in.Record = Record{Days: rapid.IntRange(100, 9000).Draw(t, "days"), LowM3s: base * 0.3 * unit.Draw(t, "low"), HighM3s: base * (1.2 + 9*unit.Draw(t, "high")), StuckDays: 1, VisitShare: 1}
	if yes(2, "section") {
		in.Geometry = g
	} else if yes(2, "few visits") {
		in.Geometry = few
	}
	if yes(4, "ceiling") {
		in.CeilingM3s, in.CeilingVisits = 3*base*unit.Draw(t, "waded to"), 7
	}
	if yes(2, "years") {
		in.Years = 12
		for range 30 {
			in.Season = append(in.Season, base*math.Exp(2*unit.Draw(t, "season")-1))
		}
	}
	if yes(2, "flood stages") {
		in.Flood.ActionM = in.Stage.Value * (0.95 + unit.Draw(t, "action"))
	}
	if yes(3, "flood flows") {
		in.Flood.FlowsM3s[rapid.IntRange(0, 3).Draw(t, "category")] = in.Flow.Value * (0.9 + 3*unit.Draw(t, "flood flow"))
	}
	if yes(16, "warning") {
		in.warn(Warning{Hazard: FloodHazard, Severity: rapid.SampledFrom([]string{"Severe", "Minor", ""}).Draw(t, "severity")})
	}
	switch rapid.IntRange(0, 5).Draw(t, "sensors") {
	case 0:
		in.Stage, in.StagePast, in.Flood = Reading{}, nil, NoFlood
	case 1:
		in.StageOnly, in.Flow, in.FlowPast, in.Geometry, in.Record, in.StageFit = true, Reading{}, nil, nil, Record{}, fit
	}
	return in
}

// second adds a further sensor to a river: a gauge upstream with its own wave, or
// another sensor of the same gauge.
func (in *Input) second(t *rapid.T) {
	b := Beside{Input: in.clone()}
	if rapid.Bool().Draw(t, "another gauge") {
		b.Gauge = "upper"
	}
	factor := math.Exp(3 * (rapid.Float64Range(0, 1).Draw(t, "second factor") - 0.3))
	last := rapid.IntRange(1, 40).Draw(t, "second since")
	if rapid.Bool().Draw(t, "second differs") {
		scaled(&b.Flow, b.FlowPast, last, factor)
		scaled(&b.Stage, b.StagePast, last, math.Sqrt(factor))
	}
	in.Beside = append(in.Beside, b)
}

// degradation is one step by which less is known of a river. keeps says that
// something is still there of what was known: then the level holds, too.
type degradation struct {
	what   string
	keeps  bool
	change func(*Input)
}

func aged(r *Reading, past *[]Past, by time.Duration) {
	r.Age += by
	for i := range *past {
		(*past)[i].Age += by
	}
}

// without cuts the readings between two times before the newest out of a past.
func without(past []Past, from, to time.Duration) []Past {
	if len(past) == 0 {
		return past
	}
	newest := past[len(past)-1].Age
	return slices.DeleteFunc(past, func(p Past) bool { return p.Age-newest >= from && p.Age-newest <= to })
}

func degradations() (out []degradation) {
	add := func(keeps bool, what string, change func(*Input)) {
		out = append(out, degradation{what, keeps, change})
	}
	for _, by := range []time.Duration{time.Minute, 30 * time.Minute, 3 * time.Hour, 30 * time.Hour, 20 * day} {
		add(true, fmt.Sprintf("flow %v older", by), func(i *Input) { aged(&i.Flow, &i.FlowPast, by) })
		add(true, fmt.Sprintf("height %v older", by), func(i *Input) { aged(&i.Stage, &i.StagePast, by) })
		add(true, fmt.Sprintf("water %v older", by), func(i *Input) { i.Water.Age += by })
		add(true, fmt.Sprintf("all %v older", by), func(i *Input) {
			aged(&i.Flow, &i.FlowPast, by)
			aged(&i.Stage, &i.StagePast, by)
			i.Water.Age += by
		})
	}
	add(true, "flow doubted", func(i *Input) { i.Flow.Doubt = "ice" })
	add(true, "height doubted", func(i *Input) { i.Stage.Doubt = "failed check spike" })
	add(true, "water doubted", func(i *Input) { i.Water.Doubt = "out of water" })
	add(true, "water modelled", func(i *Input) { i.Water.Modeled = true })
	add(true, "water missing", func(i *Input) { i.Water = Reading{} })
	add(false, "flow missing", func(i *Input) { i.Flow, i.FlowPast = Reading{}, nil })
	add(false, "flow not a number", func(i *Input) { i.Flow.Value = math.NaN() })
	add(false, "flow negative", func(i *Input) {
		if n := len(i.FlowPast); n > 0 {
			i.Flow.Value, i.FlowPast[n-1].Value = -1, -1
		}
	})
	add(false, "height missing", func(i *Input) {
		if i.StageOnly || i.Flood.Any() {
			i.Stage, i.StagePast = Reading{}, nil
		}
	})
	add(true, "thunder by an old forecast", func(i *Input) { i.Thunder.Old = true })
	add(false, "no forecast of thunder left", func(i *Input) { i.Thunder.P = nil })
	add(true, "warning service silent", func(i *Input) { i.Warnings.Known = false })
	add(false, "warnings lost", func(i *Input) { i.Warnings = Warnings{Asked: true} })
	add(false, "record lost", func(i *Input) { i.Record = Record{} })
	add(true, "record shorter", func(i *Input) {
		if i.Record.Days > 0 {
			i.Record.Days, i.Record.LowM3s, i.Record.HighM3s, i.Record.StuckDays = 1+i.Record.Days/2, i.Record.LowM3s*1.5, i.Record.HighM3s*0.7, 0
		}
	})
	add(false, "past seasons lost", func(i *Input) { i.Season, i.Years = nil, 0 })
	add(false, "section lost", func(i *Input) {
		if i.Season == nil {
			i.Geometry = nil
		}
	})
	add(false, "section and past seasons lost", func(i *Input) { i.Geometry, i.StageFit, i.Season, i.Years = nil, nil, nil, 0 })
	add(true, "section of few visits, all unfavourable", func(i *Input) {
		if i.Geometry != nil {
			rough := *i.Geometry
			rough.Width.Coef *= 0.8
			rough.Depth.Coef *= 1.25
			rough.Velocity.Coef *= 1.25
			i.Geometry = &rough
		}
	})
	add(false, "no flow, only the height, which nothing was measured for", func(i *Input) {
		i.StageOnly, i.StageFit, i.Flow, i.FlowPast, i.Geometry, i.Season = true, nil, Reading{}, nil, nil, nil
	})
	add(false, "height and flow told for each other", func(i *Input) {
		// Where both have nearly the same number nobody can notice, and little is lost.
		if i.Stage.given() && i.Flow.given() && math.Abs(math.Log(i.Flow.Value/i.Stage.Value)) > math.Log(2) {
			i.Flow.Value, i.Stage.Value = i.Stage.Value, i.Flow.Value
			n := len(i.FlowPast)
			i.FlowPast[n-1].Value, i.StagePast[n-1].Value = i.StagePast[n-1].Value, i.FlowPast[n-1].Value
		}
	})
	for _, n := range []int{1, 2, 3} {
		add(false, fmt.Sprintf("only %d readings", n), func(i *Input) {
			i.FlowPast, i.StagePast = i.FlowPast[max(0, len(i.FlowPast)-n):], i.StagePast[max(0, len(i.StagePast)-n):]
		})
	}
	add(false, "a clock three hours slow", func(i *Input) { aged(&i.Flow, &i.FlowPast, -3*time.Hour); aged(&i.Stage, &i.StagePast, -3*time.Hour) })
	add(true, "every reading twice", func(i *Input) {
		i.FlowPast, i.StagePast = slices.Concat(i.FlowPast, i.FlowPast), slices.Concat(i.StagePast, i.StagePast)
	})
	for _, d := range []time.Duration{0, 2 * time.Hour, 6 * time.Hour, day, 3 * day, 6 * day, 8 * day} {
		add(false, fmt.Sprintf("only %v of readings", d), func(i *Input) {
			i.FlowPast, i.StagePast = without(i.FlowPast, d+time.Minute, 99*day), without(i.StagePast, d+time.Minute, 99*day)
		})
		add(false, fmt.Sprintf("an outage %v before the newest", d), func(i *Input) {
			i.FlowPast, i.StagePast = without(i.FlowPast, d+time.Minute, d+5*time.Hour), without(i.StagePast, d+time.Minute, d+5*time.Hour)
		})
	}
	for _, since := range []int{1, 5, 60} {
		add(false, fmt.Sprintf("%d flows 35 times too small", since), func(i *Input) { scaled(&i.Flow, i.FlowPast, since, Foot3M3) })
		add(false, fmt.Sprintf("%d flows 35 times too large", since), func(i *Input) { scaled(&i.Flow, i.FlowPast, since, 1/Foot3M3) })
		add(false, fmt.Sprintf("%d heights in feet for metres", since), func(i *Input) { scaled(&i.Stage, i.StagePast, since, 1/FootM) })
		add(false, fmt.Sprintf("%d heights in metres for feet", since), func(i *Input) {
			// A smaller fall is caught only where the days before had flows like today's.
			n := len(i.StagePast)
			if since < 6 && n > since && i.StagePast[n-1-since].Value-FootM*i.Stage.Value > fallStageM {
				scaled(&i.Stage, i.StagePast, since, FootM)
			}
		})
	}
	second := func(what string, keeps bool, change func(*Input)) {
		add(keeps, "second sensor: "+what, func(i *Input) {
			for k := range i.Beside {
				change(&i.Beside[k].Input)
			}
		})
	}
	for _, by := range []time.Duration{time.Minute, 3 * time.Hour, 20 * day} {
		second(fmt.Sprintf("%v older", by), true, func(i *Input) { aged(&i.Flow, &i.FlowPast, by); aged(&i.Stage, &i.StagePast, by) })
	}
	second("flow doubted", true, func(i *Input) { i.Flow.Doubt = "ice" })
	second("height doubted", true, func(i *Input) { i.Stage.Doubt = "failed check spike" })
	second("flow not a number", false, func(i *Input) { i.Flow.Value = math.NaN() })
	second("a clock ahead", false, func(i *Input) { aged(&i.Flow, &i.FlowPast, -3*time.Hour); aged(&i.Stage, &i.StagePast, -3*time.Hour) })
	second("record lost", false, func(i *Input) { i.Record = Record{} })
	for _, d := range []time.Duration{0, 2 * time.Hour, day, 6 * day} {
		second(fmt.Sprintf("only %v of readings", d), false, func(i *Input) {
			i.FlowPast, i.StagePast = without(i.FlowPast, d+time.Minute, 99*day), without(i.StagePast, d+time.Minute, 99*day)
		})
	}
	add(false, "the flow stuck", func(i *Input) {
		if n := len(i.FlowPast); n > 60 {
			for k := range 60 {
				i.FlowPast[n-1-k].Value = i.FlowPast[n-60].Value
			}
			i.Flow.Value = i.FlowPast[n-60].Value
		}
	})
	return out
}

func scaled(r *Reading, past []Past, last int, by float64) {
	for k := range past[max(0, len(past)-last):] {
		past[len(past)-1-k].Value *= by
	}
	r.Value *= by
}

// lower says how b asks for less caution than a; empty where it does not. Nothing
// is worse than a level of 3 that is known.
func lower(a, b Caution, keeps bool) string {
	switch {
	case keeps && b.Level < a.Level:
		return "the level fell"
	case b.Known && b.Level < a.Level:
		return "the level fell and is known"
	case b.Known && !a.Known && b.Level < KeepOut:
		return "unknown became known"
	}
	return ""
}

func (in Input) clone() Input {
	in.FlowPast, in.StagePast, in.Season = slices.Clone(in.FlowPast), slices.Clone(in.StagePast), slices.Clone(in.Season)
	in.Warnings.List, in.Beside = slices.Clone(in.Warnings.List), slices.Clone(in.Beside)
	for i := range in.Beside {
		in.Beside[i].Input = in.Beside[i].clone()
	}
	return in
}

// rivers is how many rivers are generated.
const rivers = 2000

func eachRiver(t *testing.T, check func(t *rapid.T, in Input)) {
	t.Helper()
	// The same rivers every time; ECLOSE_LONG=1 looks at others.
	checks := rivers
	if testing.Short() {
		checks = rivers / 4 // of which rapid itself does a fifth
	}
	settings := map[string]string{"rapid.checks": fmt.Sprint(checks), "rapid.nofailfile": "true", "rapid.seed": "1"}
	if os.Getenv("ECLOSE_LONG") == "1" {
		settings["rapid.seed"] = "0"
	}
	for name, v := range settings {
		if err := flag.Set(name, v); err != nil {
			t.Fatal(err)
		}
	}
	few, err := Scale(wendMeasurements()[5:9])
	if err != nil {
		t.Fatal(err)
	}
	fit, err := FitStage(wendMeasurements())
	if err != nil {
		t.Fatal(err)
	}
	g := wend(t)
	rapid.Check(t, func(t *rapid.T) { check(t, generated(t, g, &few, &fit)) })
}

func TestNothingMissingLowersTheCaution(t *testing.T) {
	n, known, levels := 0, 0, map[Level]int{}
	all := degradations()
	eachRiver(t, func(t *rapid.T, in Input) {
		if rapid.IntRange(0, 2).Draw(t, "a second sensor") == 0 {
			in.second(t)
		}
		before := Assess(in.clone())
		if n++; before.Known {
			known++
			levels[before.Level]++
		}
		for _, d := range all {
			x := in.clone()
			d.change(&x)
			after := Assess(x)
			if after.Known && after.Level == Quiet && x.Geometry == nil && x.StageFit == nil {
				t.Fatalf("%s: nothing was measured and the level is known to be 0:\n%s", d.what, after.Format(Metric))
			}
			if why := lower(before, after, d.keeps); why != "" {
				t.Fatalf("%s: %s:\n%s\n%s", d.what, why, before.Format(Metric), after.Format(Metric))
			}
		}
	})
	t.Logf("%d rivers, %d degradations each; %d levels known, %v", n, len(all), known, levels)
	if !testing.Short() && n < rivers || known < n/2 || levels[Quiet] < n/40 || len(levels) < 4 {
		t.Error("too few of the rivers were known before to lose anything")
	}
}

func TestMoreDangerOrAnotherSensorNeverLowersTheCaution(t *testing.T) {
	eachRiver(t, func(t *rapid.T, in Input) {
		more := rapid.Float64Range(1, 6).Draw(t, "more")
		for what, change := range map[string]func(*Input){
			"more flow": func(i *Input) {
				scaled(&i.Flow, i.FlowPast, len(i.FlowPast), more)
				i.Stage, i.StagePast, i.Flood = Reading{}, nil, NoFlood
			},
			"colder water":     func(i *Input) { i.Water.Value -= more },
			"a flood warning":  func(i *Input) { i.warn(Warning{Hazard: FloodHazard}) },
			"a dam":            func(i *Input) { i.Regulated = true },
			"more thunder":     func(i *Input) { i.Thunder.P = new(min(1, *i.Thunder.P*more)) },
			"night":            func(i *Input) { i.Light = Night },
			"a last jump":      func(i *Input) { scaled(&i.Flow, i.FlowPast, 1, 1.25+more); scaled(&i.Stage, i.StagePast, 1, 1.25+more) },
			"a height as well": func(*Input) {},
			"a second sensor":  func(i *Input) { i.second(t) },
		} {
			before := in.clone()
			if what == "more flow" || what == "a height as well" {
				if in.StageOnly {
					continue
				}
				before.Stage, before.StagePast, before.Flood = Reading{}, nil, NoFlood
			}
			x := in.clone()
			change(&x)
			a, b := Assess(before), Assess(x)
			why := lower(a, b, true)
			sensor := what == "a height as well" || what == "a second sensor"
			if !sensor && (b.Level >= a.Level || !a.Known) {
				why = "" // more water may be what makes a reading credible
			}
			if why != "" {
				t.Fatalf("%s: %s:\n%s\n%s", what, why, a.Format(Metric), b.Format(Metric))
			}
		}
	})
}
