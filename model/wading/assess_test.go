package wading

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// The Wend at its invented gauge: 20 measurements over a wide range of flow,
// scattered about width 20 Q^0.12.
func wendMeasurements() []Measurement {
	rng := rand.New(rand.NewPCG(4, 2))
	var out []Measurement
	for i := range 20 {
		q := 0.8 * math.Pow(80, float64(i)/19)
		w := 20 * math.Pow(q, 0.12) * math.Exp(0.1*rng.NormFloat64())
		v := 0.22 * math.Pow(q, 0.42)
		out = append(out, Measurement{
			ID: string(rune('a' + i)), At: time.Date(2012+i/2, 5, 1, 0, 0, 0, 0, time.UTC),
			FlowM3s: q, WidthM: w, AreaM2: q / v, VelocityMS: v, StageM: 0.3 + 0.3*math.Pow(q, 0.4), Wading: q < 15,
		})
	}
	return out
}

func wend(t testing.TB) *Geometry {
	t.Helper()
	g, err := FitGeometry(wendMeasurements())
	if err != nil {
		t.Fatal(err)
	}
	return &g
}

// measured is a reading at hand.
func measured(value float64, age time.Duration) Reading {
	return Reading{Value: value, Age: age, Present: true}
}

// noon is when these rivers are judged.
var noon = time.Date(2026, 5, 20, 12, 0, 0, 0, time.UTC)

// hourly are readings an hour apart over a week and a day, the last of them some
// time ago; last gives those before the end other values, newest last.
func hourly(age time.Duration, usual float64, last ...float64) (out []Past) {
	const n = 8 * 24
	for i := range n {
		v := usual * (1 + 0.01*math.Sin(float64(i)))
		if k := i - (n - len(last)); k >= 0 {
			v = last[k]
		}
		out = append(out, Past{Age: age + time.Duration(n-1-i)*time.Hour, Value: v})
	}
	return out
}

// heightAt is the gauge height of the Wend at a flow.
func heightAt(q float64) float64 { return 0.3 + 0.3*math.Pow(q, 0.4) }

// flows gives a river these last flows, and the heights that belong to them.
func (in *Input) flows(last ...float64) {
	in.Flow.Value = last[len(last)-1]
	in.FlowPast = hourly(in.Flow.Age, 5, last...)
	in.StagePast = nil
	for _, p := range in.FlowPast {
		in.StagePast = append(in.StagePast, Past{p.Age - in.Flow.Age + in.Stage.Age, heightAt(p.Value)})
	}
	in.Stage.Value = heightAt(in.Flow.Value)
}

// steady gives a river that has stood at a flow for two days.
func (in *Input) steady(q float64) {
	var last []float64
	for i := range 48 {
		last = append(last, q*(1+0.005*math.Sin(float64(i))))
	}
	in.flows(append(last, q)...)
}

// calm is an input that gives level 0: everything known, nothing against it.
func calm(t testing.TB) Input {
	in := Input{
		At: noon, Flow: measured(5, 20*time.Minute), Stage: measured(0.9, 20*time.Minute), Water: measured(17, 20*time.Minute),
		Geometry: wend(t), Season: []float64{3, 4, 4, 5, 6, 6, 7, 8, 9, 12}, Years: 10, Flood: Flood{ActionM: 3, MinorM: 3.5, ModerateM: 4, MajorM: 4.5},
		Record:  Record{Days: 3000, LowM3s: 0.5, HighM3s: 80, StuckDays: 1, VisitShare: 1.05},
		Thunder: Thunder{P: new(0.05), Asked: true}, Warnings: Warnings{Asked: true, Known: true},
	}
	in.steady(5)
	return in
}

func TestCautionOfARiver(t *testing.T) {
	for _, tc := range []struct {
		what   string
		change func(*Input)
		level  Level
		known  bool
		text   string
	}{
		{"a low river in fine weather", func(*Input) {}, Quiet, true, "at the gauge: 0.2 times our keep-out line"},
		{"a fuller river", func(i *Input) { i.steady(13) }, Care, true, "with margin"},
		{"a high river", func(i *Input) { i.steady(19) }, BetterNot, true, ""},
		{"a very high river", func(i *Input) { i.steady(40) }, KeepOut, true, "1.5 times our keep-out line (1.7 times with margin)"},
		{"above all that was measured", func(i *Input) { i.steady(79) }, KeepOut, true, "above anything measured here"},
		{"a dry bed", func(i *Input) { i.Record.LowM3s = 0; i.dry() }, Quiet, true, ""},
		{"flow that runs backward", func(i *Input) { i.Flow.Value = -3 }, Quiet, false, "negative"},
		{"no flow reading", func(i *Input) { i.Flow, i.FlowPast = Reading{}, nil }, Quiet, false, "there is no recent flow reading"},
		{"a flow of three hours ago", func(i *Input) { i.Flow.Age = 3 * time.Hour }, Quiet, false, "3.0 h old"},
		{"a daily site may be five hours old", func(i *Input) { i.daily(5 * time.Hour) }, Quiet, true, ""},
		{"but not seven", func(i *Input) { i.daily(7 * time.Hour) }, Quiet, false, "7.0 h old"},
		{"ice", func(i *Input) { i.Flow.Doubt = "ice" }, Quiet, false, "cannot be trusted (ice)"},
		{"a reading from the future", func(i *Input) { i.Flow.Age = -time.Hour }, Quiet, false, "future"},
		{"a clock a little fast", func(i *Input) { i.Flow.Age = -9 * time.Minute }, Quiet, true, ""},
		{"NaN for a flow", func(i *Input) { i.Flow.Value = math.NaN() }, Quiet, false, "there is no recent flow"},
		{"no measurements, usual flow", func(i *Input) { i.Geometry = nil }, Care, true, "no depth or speed was measured at this gauge"},
		{"no measurements, low flow", func(i *Input) { i.Geometry = nil; i.Season = []float64{6, 7, 8, 9, 10, 11} }, Care, true, "much below normal"},
		{"a flow of floods", func(i *Input) { i.Flood = Flood{FlowsM3s: [4]float64{4.9, 9, 0, math.NaN()}} }, KeepOut, true, "at or above the action flow of floods (they start at 4.90 m³/s"},
		{"a flow of the second category", func(i *Input) { i.Flood = Flood{FlowsM3s: [4]float64{math.NaN(), 4.9, 5, 9}} }, KeepOut, true, "the moderate flow of floods"},
		{"a flow below floods", func(i *Input) { i.Flood = Flood{FlowsM3s: [4]float64{5.1, 9, 0, math.NaN()}} }, Quiet, true, ""},
		{"a flow of floods, no height", func(i *Input) { i.Flood.FlowsM3s[1] = 4.9; i.Stage, i.StagePast = Reading{}, nil }, KeepOut, true, "minor flow"},
		{"a flow of floods three hours ago", func(i *Input) {
			i.Flood = Flood{FlowsM3s: [4]float64{4.9}}
			aged(&i.Flow, &i.FlowPast, 3*time.Hour)
		}, KeepOut, false, "at least: flow"},
		{"no measurements, high flow for the day", func(i *Input) { i.Geometry = nil; i.steady(8.5) }, Care, true, "above normal"},
		{"no measurements, very high for the day", func(i *Input) { i.Geometry = nil; i.steady(11) }, Care, true, "percentile 90, 10 years"},
		{"no measurements, higher than ever at this time", func(i *Input) { i.Geometry = nil; i.steady(12.5) }, BetterNot, true, "much above normal"},
		{"no measurements, no statistics", func(i *Input) { i.Geometry, i.Season = nil, nil }, Quiet, false, "no depth, speed or flow statistics"},
		{"above the gauger's own wading", func(i *Input) { i.CeilingM3s, i.CeilingVisits = 4, 9 }, BetterNot, true, "the highest of 9 visits"},
		{"below it changes nothing", func(i *Input) { i.CeilingM3s, i.CeilingVisits = 400, 9; i.steady(13) }, Care, true, ""},
		{"at action height", func(i *Input) { i.Flood.ActionM = i.Stage.Value }, KeepOut, true, "at or above the action stage"},
		{"at action height without a flow", func(i *Input) { i.Flood.ActionM, i.Flow, i.FlowPast = i.Stage.Value, Reading{}, nil }, KeepOut, true, "action stage"},
		{"a gauge of which nobody said where floods begin", func(i *Input) { i.Flood = Flood{} }, Quiet, true, ""},
		{"below a dam", func(i *Input) { i.Regulated, i.RegulatedBy = true, "schedule at example.org" }, Care, true, "schedule at example.org"},
		{"cold water", func(i *Input) { i.Water.Value = 12 }, Care, true, "12.0 °C (54 °F)"},
		{"very cold water", func(i *Input) { i.Water.Value = 5 }, Care, true, "a fall takes your breath"},
		{"no water temperature", func(i *Input) { i.Water = Reading{} }, Care, true, "treat the water as cold"},
		{"an old water temperature", func(i *Input) { i.Water.Age = 50 * time.Hour }, Care, true, "2 days old"},
		{"a modelled temperature just above the line does not clear it", func(i *Input) { i.Water.Modeled = true }, Care, true, "modelled"},
		{"one well above it does", func(i *Input) { i.Water.Modeled, i.Water.Value = true, 17.6 }, Quiet, true, "modelled"},
		{"thunder possible", func(i *Input) { i.Thunder.P = new(0.3) }, Care, true, "thunder 30%"},
		{"thunder about as likely as not", func(i *Input) { i.Thunder.P = new(0.66) }, Care, true, "thunder 66%"},
		{"thunder likely", func(i *Input) { i.Thunder.P = new(0.67) }, BetterNot, true, ""},
		{"thunder a little", func(i *Input) { i.Thunder.P = new(0.11) }, Quiet, true, "thunder 11%"},
		{"thunder hardly", func(i *Input) { i.Thunder.P = new(0.29) }, Quiet, true, "thunder 29%"},
		{"no thunder feed", func(i *Input) { i.Thunder = Thunder{} }, Quiet, true, "unknown: chance of thunder"},
		{"a thunder feed that ended", func(i *Input) { i.Thunder.P = nil }, Quiet, false, "no fresh forecast"},
		{"an old forecast of thunder", func(i *Input) { i.Thunder = Thunder{P: new(0.9), Asked: true, Old: true} }, BetterNot, false, "chance of thunder 90%"},
		{"rising fast", func(i *Input) { i.flows(5, 5, 5, 6.4) }, KeepOut, true, "rising: flow up 28% in 1.0 h"},
		{"rising fast over three hours", func(i *Input) { i.flows(5, 5.7, 6.5, 7.6) }, KeepOut, true, "rising"},
		{"rising slowly", func(i *Input) { i.flows(5, 5.5, 6, 6.5) }, Quiet, true, ""},
		{"the height alone rising", func(i *Input) { rising(i.StagePast, 0.16) }, KeepOut, false, "rising: gauge height up"},
		{"dusk", func(i *Input) { i.Light = Dusk }, Care, true, "dusk"},
		{"night", func(i *Input) { i.Light = Night }, BetterNot, true, "dark"},
		{"a gauge of height only", func(i *Input) { i.heightOnly(t, 27) }, KeepOut, true, "from gauge height only"},
		{"a gauge of height only, low", func(i *Input) { i.heightOnly(t, 3) }, Quiet, true, "from gauge height only"},
		{"a gauge of height only, without measurements", func(i *Input) { i.heightOnly(t, 3); i.StageFit = nil }, Quiet, false, "gauge height cannot be judged"},
		{"a gauge of height only, height missing", func(i *Input) { i.heightOnly(t, 3); i.Stage, i.StagePast = Reading{}, nil }, Quiet, false, "no recent gauge height reading"},
		{"warnings that nobody asked for", func(i *Input) { i.Warnings = Warnings{} }, Quiet, true, "no warning service is configured"},
		{"a warning service that is silent", func(i *Input) { i.Warnings.Known, i.Warnings.Why = false, "no answer since noon" }, Quiet, false, "official warnings (no answer since noon)"},
		{"a flash flood warning", func(i *Input) {
			i.warn(Warning{Hazard: FloodHazard, Event: "Flash Flood Warning", Severity: "Severe", Urgency: "Immediate"})
		}, KeepOut, true, "official warning: Flash Flood Warning"},
		{"a flood warning without severity", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Event: "Flood Warning"}) }, KeepOut, true, ""},
		{"a flood watch", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Severity: "Severe", Certainty: "Possible"}) }, BetterNot, true, ""},
		{"a flood alert", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Severity: "Minor"}) }, BetterNot, true, ""},
		{"a flood to come", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Severity: "Severe", Urgency: "Future"}) }, BetterNot, true, ""},
		{"a flood warning for tomorrow night", func(i *Input) {
			i.warn(Warning{Hazard: FloodHazard, Severity: "Severe", Onset: noon.Add(13 * time.Hour)})
		}, Care, true, ""},
		{"a flood warning for tonight", func(i *Input) {
			i.warn(Warning{Hazard: FloodHazard, Severity: "Severe", Onset: noon.Add(12 * time.Hour)})
		}, KeepOut, true, ""},
		{"thunderstorms", func(i *Input) { i.warn(Warning{Hazard: ThunderHazard}) }, BetterNot, true, ""},
		{"severe thunderstorms", func(i *Input) { i.warn(Warning{Hazard: ThunderHazard, Severity: "Severe"}) }, KeepOut, true, ""},
		{"a warning that is over", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Expires: noon}) }, Quiet, true, ""},
		{"a warning that ends soon", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Expires: noon.Add(time.Minute)}) }, KeepOut, true, "until 12:01 UTC"},
		{"a warning that would be over, from a service that is silent", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Expires: noon}); i.Warnings.Known = false }, KeepOut, true, ""},
	} {
		t.Run(tc.what, func(t *testing.T) {
			in := calm(t)
			tc.change(&in)
			c := Assess(in)
			text := c.Format(Metric)
			if c.Level != tc.level || c.Known != tc.known {
				t.Errorf("level %d known %t, want %d %t\n%s", c.Level, c.Known, tc.level, tc.known, text)
			}
			if !strings.Contains(text, tc.text) {
				t.Errorf("%q is not in\n%s", tc.text, text)
			}
			if !c.Known && !strings.Contains(c.Headline(), "unknown") {
				t.Errorf("headline %q", c.Headline())
			}
		})
	}
}

// dry is a bed that has had no water for a week and more.
func (in *Input) dry() {
	in.Flow.Value, in.FlowPast, in.StagePast = 0, hourly(in.Flow.Age, 0.001, 0.001, 0), hourly(in.Stage.Age, 0.3, 0.3)
	in.Stage.Value = 0.3
}

// rising adds to the last reading.
func rising(past []Past, by float64) { past[len(past)-1].Value += by }

func (in *Input) warn(w Warning) { in.Warnings.List = append(in.Warnings.List, w) }

// daily turns the river into one of which a value a day is given.
func (in *Input) daily(age time.Duration) {
	in.Flow.Age, in.Flow.Daily, in.Stage, in.StagePast, in.Flood = age, true, Reading{}, nil, NoFlood
	in.FlowPast = nil
	for d := range 9 {
		in.FlowPast = append(in.FlowPast, Past{age + time.Duration(d)*day, 5 * (1 + 0.01*float64(d))})
	}
}

func (in *Input) heightOnly(t *testing.T, q float64) {
	f, err := FitStage(wendMeasurements())
	if err != nil {
		t.Fatal(err)
	}
	in.steady(q)
	in.StageFit, in.StageOnly, in.Flow, in.FlowPast, in.Geometry, in.Season = &f, true, Reading{}, nil, nil, nil
}

func TestEveryTextHasBothUnitsTheTimeAndNoFalseComfort(t *testing.T) {
	in := calm(t)
	in.CeilingM3s, in.CeilingVisits, in.Regulated = 14, 8, true
	in.Water.Value = 8
	in.steady(21)
	c := Assess(in)
	for _, u := range []Units{Metric, US} {
		text := c.Format(u)
		for _, want := range []string{"m³/s", "cfs", "m²/s", "ft²/s", "°C", "°F", "read at 11:40 UTC on 20 May 2026 (20 min old)", "Valid until 13:40 UTC on 20 May 2026", "overrule this"} {
			if !strings.Contains(text, want) {
				t.Errorf("%q is not in\n%s", want, text)
			}
		}
		for _, bad := range []string{"safe", "wadable", "green", "amber", "NaN", "Inf"} {
			if strings.Contains(strings.ToLower(text), strings.ToLower(bad)) {
				t.Errorf("%q stands in\n%s", bad, text)
			}
		}
	}
	if m, us := c.Format(Metric), c.Format(US); strings.Index(m, "m³/s") > strings.Index(m, "cfs") || strings.Index(us, "cfs") > strings.Index(us, "m³/s") {
		t.Error("the reader's own units must come first")
	}
}

func TestEveryReasonNamesASourceAndViewsAreJSON(t *testing.T) {
	in := calm(t)
	in.CeilingM3s, in.CeilingVisits, in.Regulated, in.Thunder.P, in.Light = 14, 8, true, new(0.9), Night
	in.Water.Value = 4
	in.flows(5, 20, 90)
	in.Flood.ActionM = 1
	in.warn(Warning{Hazard: FloodHazard, Event: "Flood Warning"})
	in.warn(Warning{Hazard: ThunderHazard, Event: "Severe Thunderstorm Warning"})
	c := Assess(in)
	v := c.View(US)
	seen := map[string]bool{}
	for i, r := range v.Reasons {
		seen[r.Code] = true
		if r.Source == "" || r.Provenance == "" || r.Text == "" {
			t.Errorf("reason %+v lacks something", r)
		}
		if i > 0 && r.Level > v.Reasons[i-1].Level {
			t.Errorf("reason %d is worse than the one before", i)
		}
	}
	if len(seen) < 11 {
		t.Errorf("only %v", seen)
	}
	for _, c := range []Caution{c, Assess(Input{Flood: NoFlood}), Assess(Input{Flow: measured(math.Inf(1), 0), Stage: measured(math.NaN(), 0)})} {
		if _, err := json.Marshal(c.View(Metric)); err != nil {
			t.Error(err)
		}
	}
}

func TestFitGeometryKeepsContinuityAndRefusesTooLittle(t *testing.T) {
	g := wend(t)
	if math.Abs(g.Width.Exp+g.Depth.Exp+g.Velocity.Exp-1) > 1e-9 || math.Abs(g.Width.Coef*g.Depth.Coef*g.Velocity.Coef-1) > 1e-9 {
		t.Errorf("exponents add to %g, coefficients multiply to %g", g.Width.Exp+g.Depth.Exp+g.Velocity.Exp, g.Width.Coef*g.Depth.Coef*g.Velocity.Coef)
	}
	if math.Abs(g.Width.Exp-0.12) > 0.06 {
		t.Errorf("width exponent %g, 0.12 went in", g.Width.Exp)
	}
	for _, p := range []float64{CareDV, BetterNotDV, KeepOutDV} {
		if q := g.LimitFlowHigh(p); math.Abs(g.DVHigh(q)-p) > 1e-9 {
			t.Errorf("the limit flow %g gives %g, want %g", q, g.DVHigh(q), p)
		}
	}
	all := wendMeasurements()
	if _, err := FitGeometry(all[:9]); !errors.Is(err, ErrTooFew) {
		t.Errorf("nine rows: %v", err)
	}
	if _, err := FitGeometry(all[:10]); err == nil {
		// ten rows of a 7.6-fold range
		t.Error("a narrow range was accepted")
	}
	for i := range all {
		all[i].Ice = true
	}
	if _, err := FitGeometry(all); !errors.Is(err, ErrTooFew) {
		t.Errorf("ice: %v", err)
	}
	if _, err := Scale(all); !errors.Is(err, ErrTooFew) {
		t.Errorf("nothing usable: %v", err)
	}
}

func TestAFewVisitsGiveTheLowestLimitsOfAll(t *testing.T) {
	m := wendMeasurements()[:9]
	all, err := Scale(m)
	if err != nil || !all.Scaled || all.N != 9 || all.MinFlow != m[0].FlowM3s || all.MaxFlow != m[8].FlowM3s {
		t.Fatalf("%+v %v", all, err)
	}
	lowest := math.Inf(1)
	for _, x := range m {
		one, err := Scale([]Measurement{x})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(one.DV(x.FlowM3s)-x.FlowM3s/x.WidthM) > 1e-9 {
			t.Error("the measurement itself is not met")
		}
		if r := one.DV(2*x.FlowM3s) / one.DV(x.FlowM3s); math.Abs(r-math.Pow(2, 0.74)) > 1e-9 {
			t.Errorf("double the flow, %g times the push; want 2^0.74", r)
		}
		lowest = min(lowest, one.LimitFlowHigh(KeepOutDV))
	}
	if got := all.LimitFlowHigh(KeepOutDV); math.Abs(got-lowest) > 1e-9 {
		t.Errorf("keep out from %g, the lowest of all visits is %g", got, lowest)
	}
	in := calm(t)
	in.Geometry = &all
	for _, q := range []float64{2, 5, 30} {
		in.steady(q)
		c := Assess(in)
		if !c.Limits.Rough || *c.Limits != *Assess(calm0(t, &all)).Limits || !strings.Contains(c.Format(Metric), "(rough, from few measurements)") {
			t.Errorf("at %g m3/s the limits are %+v", q, c.Limits)
		}
	}
}

func calm0(t *testing.T, g *Geometry) Input {
	in := calm(t)
	in.Geometry = g
	return in
}

// The limits that are printed are those by which a flow is judged.
func TestLevelsBeginAtThePrintedLimits(t *testing.T) {
	few, err := Scale(wendMeasurements()[:4])
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range []*Geometry{wend(t), &few} {
		for _, ceiling := range []float64{0, 9} {
			in := calm0(t, g)
			in.Season, in.CeilingM3s, in.CeilingVisits = nil, ceiling, 9
			l := Assess(in).Limits
			for level, q := range map[Level]float64{Care: l.CareM3s, BetterNot: l.BetterNotM3s, KeepOut: l.KeepOutM3s} {
				in.steady(1.001 * q)
				if got := Assess(in).Level; got < level {
					t.Errorf("ceiling %g: level %d at %g, the limit of %d", ceiling, got, q, level)
				}
				in.steady(0.97 * q)
				if got := Assess(in).Level; got >= level {
					t.Errorf("ceiling %g: level %d below %g, the limit of %d", ceiling, got, q, level)
				}
			}
		}
	}
}

func TestMergeSumsTheChannelsOfAVisit(t *testing.T) {
	out := Merge([]Measurement{
		{ID: "v", FlowM3s: 2, WidthM: 5, AreaM2: 4, VelocityMS: 0.5, Wading: true},
		{ID: "w", FlowM3s: 1, WidthM: 4, AreaM2: 2, VelocityMS: 0.5},
		{ID: "v", FlowM3s: 1, WidthM: 3, AreaM2: 2, VelocityMS: 0.5, Wading: true},
	})
	if len(out) != 2 || out[0].FlowM3s != 3 || out[0].WidthM != 8 || out[0].AreaM2 != 6 || out[0].VelocityMS != 0.5 || !out[0].Wading {
		t.Errorf("%+v", out)
	}
}

func TestCeilingNeedsFiveVisitsAndHigherOnesByOtherMeans(t *testing.T) {
	all := wendMeasurements()
	q, n, ok := Ceiling(all)
	if !ok || n < 5 || q >= 15 || q < 10 {
		t.Errorf("%g %d %t", q, n, ok)
	}
	if _, _, ok := Ceiling(all[:n]); ok {
		t.Error("nothing above the wading visits: the ceiling says nothing")
	}
	if _, _, ok := Ceiling(all[n-3:]); ok {
		t.Error("three wading visits are too few")
	}
}

func FuzzAssessNeverPanicsOrComforts(f *testing.F) {
	f.Add(5.0, 0.9, 12.0, 50.0, 0.1, int64(1000))
	f.Add(math.Inf(1), math.NaN(), -300.0, -5.0, 7.0, int64(-1))
	g := wend(f)
	f.Fuzz(func(t *testing.T, flow, stage, water, season, thunder float64, ageMs int64) {
		age := time.Duration(ageMs%1e9) * time.Millisecond
		c := Assess(Input{
			At: noon, Flow: measured(flow, age), Stage: measured(stage, age), Water: measured(water, age), Geometry: g,
			Season: []float64{season}, Thunder: Thunder{P: &thunder}, Flood: NoFlood,
			FlowPast: hourly(age, 5, flow), StagePast: hourly(age, 0.9, stage),
		})
		text := c.Format(US)
		if strings.Contains(strings.ToLower(text), "safe") {
			t.Fatal(text)
		}
		if age > MaxAge && c.Known {
			t.Fatalf("known at an age of %v", age)
		}
		if _, err := json.Marshal(c.View(Metric)); err != nil {
			t.Fatal(err)
		}
	})
}
