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

// calm is an input that gives level 0: everything known, nothing against it.
func calm(t testing.TB) Input {
	return Input{
		Flow: Measured(5, 20*time.Minute), Stage: Measured(0.9, 20*time.Minute), Water: Measured(17, 20*time.Minute),
		Geometry: wend(t), Percentile: new(40.0), Years: 30, Flood: Flood{2, 2.5, 3, 3.5}, Thunder: new(0.05),
	}
}

func TestCautionOfARiver(t *testing.T) {
	for _, tc := range []struct {
		what   string
		change func(*Input)
		level  Level
		known  bool
		text   string
	}{
		{"a low river in fine weather", func(*Input) {}, Quiet, true, "depth × speed"},
		{"a fuller river", func(i *Input) { i.Flow.Value = 13 }, Care, true, "with margin"},
		{"a high river", func(i *Input) { i.Flow.Value = 19 }, BetterNot, true, ""},
		{"a very high river", func(i *Input) { i.Flow.Value = 40 }, KeepOut, true, ""},
		{"above all that was measured", func(i *Input) { i.Flow.Value = 900 }, KeepOut, true, "above anything measured here"},
		{"below all that was measured", func(i *Input) { i.Flow.Value = 0.1 }, Quiet, true, "below anything measured here"},
		{"a dry bed", func(i *Input) { i.Flow.Value = 0 }, Quiet, true, ""},
		{"flow that runs backward", func(i *Input) { i.Flow.Value = -3 }, Quiet, false, "negative"},
		{"no flow reading", func(i *Input) { i.Flow = Reading{} }, Quiet, false, "there is no recent flow reading"},
		{"a flow of three hours ago", func(i *Input) { i.Flow.Age = 3 * time.Hour }, Quiet, false, "3.0 h old"},
		{"a high flow of three hours ago still counts against", func(i *Input) { i.Flow.Age, i.Flow.Value = 3*time.Hour, 40 }, KeepOut, false, "would mean level 3"},
		{"a daily site may be five hours old", func(i *Input) { i.Flow.Age, i.Flow.Daily = 5*time.Hour, true }, Quiet, true, ""},
		{"but not seven", func(i *Input) { i.Flow.Age, i.Flow.Daily = 7*time.Hour, true }, Quiet, false, ""},
		{"ice", func(i *Input) { i.Flow.Doubt = "ice" }, Quiet, false, "cannot be trusted (ice)"},
		{"a reading from the future", func(i *Input) { i.Flow.Age = -time.Hour }, Quiet, false, "future"},
		{"NaN for a flow", func(i *Input) { i.Flow.Value = math.NaN() }, Quiet, false, "there is no recent flow"},
		{"no measurements, usual flow", func(i *Input) { i.Geometry = nil }, Quiet, true, "flow normal"},
		{"no measurements, high flow for the day", func(i *Input) { i.Geometry, i.Percentile = nil, new(80.0) }, Care, true, "above normal"},
		{"no measurements, very high for the day", func(i *Input) { i.Geometry, i.Percentile = nil, new(93.0) }, BetterNot, true, "percentile 93, 30 years"},
		{"no measurements, no statistics", func(i *Input) { i.Geometry, i.Percentile = nil, nil }, Quiet, false, "no depth, speed or flow statistics"},
		{"above the gauger's own wading", func(i *Input) { i.CeilingM3s, i.CeilingVisits = 4, 9 }, BetterNot, true, "the highest of 9 visits"},
		{"below it changes nothing", func(i *Input) { i.CeilingM3s, i.CeilingVisits, i.Flow.Value = 400, 9, 19 }, BetterNot, true, ""},
		{"at action height", func(i *Input) { i.Stage.Value = 2 }, KeepOut, true, "action stage"},
		{"at action height without a flow", func(i *Input) { i.Stage.Value, i.Flow = 2.6, Reading{} }, KeepOut, true, "minor stage"},
		{"a gauge of which nobody said where floods begin", func(i *Input) { i.Flood = Flood{} }, Quiet, true, ""},
		{"a flood warning", func(i *Input) { i.FloodWarning = "flash flood warning until 18:00" }, KeepOut, true, "flash flood warning until 18:00"},
		{"a flood warning and no reading", func(i *Input) { i.FloodWarning, i.Flow, i.Stage = "flood warning", Reading{}, Reading{} }, KeepOut, true, ""},
		{"below a dam", func(i *Input) { i.Regulated, i.RegulatedBy = true, "schedule at example.org" }, Care, true, "schedule at example.org"},
		{"cold water", func(i *Input) { i.Water.Value = 12 }, Care, true, "12.0 °C (54 °F)"},
		{"very cold water", func(i *Input) { i.Water.Value = 5 }, Care, true, "a fall takes your breath"},
		{"no water temperature", func(i *Input) { i.Water = Reading{} }, Care, true, "treat the water as cold"},
		{"an old water temperature", func(i *Input) { i.Water.Age = 50 * time.Hour }, Care, true, "2 days old"},
		{"a temperature worked out just above the line does not clear it", func(i *Input) { i.Water.Modeled = true }, Care, true, "modelled"},
		{"thunder possible", func(i *Input) { i.Thunder = new(0.4) }, Care, true, "thunder 40%"},
		{"thunder likely", func(i *Input) { i.Thunder = new(0.8) }, BetterNot, true, ""},
		{"no thunder forecast", func(i *Input) { i.Thunder = nil }, Quiet, true, "unknown: chance of thunder"},
		{"rising fast, confirmed", func(i *Input) {
			i.History = []Point{{90 * time.Minute, 5, 0.9}, {45 * time.Minute, 7, 1.1}, {20 * time.Minute, 9, 1.3}}
		}, KeepOut, true, "rising fast"},
		{"one spike", func(i *Input) {
			i.History = []Point{{60 * time.Minute, 5, 0.9}, {40 * time.Minute, 5, 0.9}, {20 * time.Minute, 9, 1.3}}
		}, Care, true, "one reading only"},
		{"rising slowly", func(i *Input) {
			i.History = []Point{{3 * time.Hour, 5, 0.9}, {time.Hour, 5.3, 0.92}, {20 * time.Minute, 5.5, 0.93}}
		}, Quiet, true, ""},
		{"a gauge of height only", func(i *Input) {
			f, err := FitStage(wendMeasurements())
			if err != nil {
				t.Fatal(err)
			}
			i.StageFit, i.StageOnly, i.Flow, i.Geometry, i.Percentile = &f, true, Reading{}, nil, nil
			i.Stage.Value = 1.6
		}, KeepOut, true, "from gauge height only"},
		{"a gauge of height only, height missing", func(i *Input) { i.StageOnly, i.Flow, i.Stage = true, Reading{}, Reading{} }, Quiet, false, "no recent gauge height reading"},
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

func TestEveryTextHasBothUnitsTheAgeAndNoFalseComfort(t *testing.T) {
	in := calm(t)
	in.Flow.Value = 21
	in.CeilingM3s, in.CeilingVisits, in.Regulated = 14, 8, true
	in.Water.Value = 8
	c := Assess(in)
	for _, u := range []Units{Metric, US} {
		text := c.Format(u)
		for _, want := range []string{"m³/s", "cfs", "m²/s", "ft²/s", "°C", "°F", "20 min old", "overrule this"} {
			if !strings.Contains(text, want) {
				t.Errorf("%q is not in\n%s", want, text)
			}
		}
		for _, bad := range []string{"safe", "green", "amber", "NaN", "Inf"} {
			if strings.Contains(strings.ToLower(text), strings.ToLower(bad)) {
				t.Errorf("%q stands in\n%s", bad, text)
			}
		}
	}
	if m, us := c.Format(Metric), c.Format(US); strings.Index(m, "m3/s") > strings.Index(m, "ft3/s") || strings.Index(us, "ft3/s") > strings.Index(us, " m3/s") {
		t.Error("the reader's own units must come first")
	}
}

func TestEveryReasonNamesASourceAndViewsAreJSON(t *testing.T) {
	in := calm(t)
	in.Flow.Value, in.FloodWarning, in.Regulated, in.Thunder = 40, "flood warning", true, new(0.9)
	in.History = []Point{{time.Hour, 5, math.NaN()}, {40 * time.Minute, 20, math.NaN()}, {20 * time.Minute, 40, math.NaN()}}
	in.Stage.Value, in.CeilingM3s, in.CeilingVisits = 3, 14, 8
	in.Water.Value = 4
	c := Assess(in)
	v := c.View(US)
	if len(v.Reasons) < 8 {
		t.Errorf("only %d reasons", len(v.Reasons))
	}
	for i, r := range v.Reasons {
		if r.Source == "" || r.Provenance == "" || r.Text == "" {
			t.Errorf("reason %+v lacks something", r)
		}
		if i > 0 && r.Level > v.Reasons[i-1].Level {
			t.Errorf("reason %d is worse than the one before", i)
		}
	}
	for _, c := range []Caution{c, Assess(Input{Flood: NoFlood}), Assess(Input{Flow: Measured(math.Inf(1), 0), Stage: Measured(math.NaN(), 0)})} {
		if _, err := json.Marshal(c.View(Metric)); err != nil {
			t.Error(err)
		}
	}
}

// randomInput draws any river, mostly whole, sometimes with holes.
func randomInput(rng *rand.Rand, g *Geometry) Input {
	in := Input{
		Flow:       Measured(math.Exp(rng.NormFloat64()*2+1), time.Duration(rng.IntN(100))*time.Minute),
		Stage:      Measured(rng.Float64()*3, time.Duration(rng.IntN(100))*time.Minute),
		Water:      Measured(rng.Float64()*25, time.Duration(rng.IntN(100))*time.Minute),
		Percentile: new(rng.Float64() * 100), Years: rng.IntN(90), Flood: NoFlood,
		Regulated: rng.IntN(3) == 0, Thunder: new(rng.Float64()),
	}
	if rng.IntN(2) == 0 {
		in.Geometry = g
	}
	if rng.IntN(3) == 0 {
		in.Flood = Flood{1.8 + rng.Float64(), 3, 4, 5}
	}
	if rng.IntN(4) == 0 {
		in.CeilingM3s, in.CeilingVisits = 10, 7
	}
	if rng.IntN(5) == 0 {
		in.Percentile = nil
	}
	if rng.IntN(8) == 0 {
		in.FloodWarning = "flood warning"
	}
	if rng.IntN(3) == 0 {
		in.History = []Point{
			{in.Flow.Age, in.Flow.Value, in.Stage.Value},
			{in.Flow.Age + 30*time.Minute, in.Flow.Value * (0.4 + rng.Float64()), in.Stage.Value - rng.Float64()*0.3},
			{in.Flow.Age + 60*time.Minute, in.Flow.Value * (0.4 + rng.Float64()), in.Stage.Value - rng.Float64()*0.3},
		}
	}
	return in
}

func TestWhatIsMissingOrStaleNeverLowersTheCaution(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	g := wend(t)
	for range 20000 {
		in := randomInput(rng, g)
		before := Assess(in)
		for name, spoil := range map[string]func(*Input){
			"flow missing":      func(i *Input) { i.Flow = Reading{} },
			"flow old":          func(i *Input) { i.Flow.Age = 5 * time.Hour },
			"flow doubted":      func(i *Input) { i.Flow.Doubt = "equipment" },
			"flow NaN":          func(i *Input) { i.Flow.Value = math.NaN() },
			"everything absent": func(i *Input) { i.Flow, i.Stage, i.Water = Reading{}, Reading{}, Reading{} },
		} {
			x := in
			spoil(&x)
			after := Assess(x)
			if !after.Blocks() {
				t.Fatalf("%s: the caution no longer blocks: %s", name, after.Format(Metric))
			}
			if after.Known && after.Level < KeepOut && before.Level > after.Level {
				t.Fatalf("%s: %d became a known %d", name, before.Level, after.Level)
			}
		}
		for name, spoil := range map[string]func(*Input){
			"water missing": func(i *Input) { i.Water = Reading{} },
			"water old":     func(i *Input) { i.Water.Age = 80 * time.Hour },
			"water modeled": func(i *Input) { i.Water.Modeled = true },
		} {
			x := in
			spoil(&x)
			if after := Assess(x); after.Level < before.Level || before.Blocks() && !after.Blocks() {
				t.Fatalf("%s: level %d became %d", name, before.Level, after.Level)
			}
		}
		x := in
		x.Flow.Age = 5 * time.Hour
		x.History = nil
		y := in
		y.History = nil
		if stale, fresh := Assess(x), Assess(y); stale.Level < fresh.Level {
			t.Fatalf("an old flow asks for %d where a fresh one asks for %d", stale.Level, fresh.Level)
		}
	}
}

func TestMoreDangerNeverLowersTheLevel(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	g := wend(t)
	for range 20000 {
		in := randomInput(rng, g)
		in.History = nil
		before := Assess(in)
		for name, worsen := range map[string]func(*Input){
			"more flow":       func(i *Input) { i.Flow.Value *= 1 + rng.Float64()*5 },
			"higher stage":    func(i *Input) { i.Stage.Value += rng.Float64() },
			"colder water":    func(i *Input) { i.Water.Value -= rng.Float64() * 10 },
			"a flood warning": func(i *Input) { i.FloodWarning = "flood warning" },
			"a dam":           func(i *Input) { i.Regulated = true },
			"more thunder":    func(i *Input) { i.Thunder = new(min(1, *i.Thunder+rng.Float64())) },
			"a rise":          func(i *Input) { i.History = []Point{{0, 9, 9}, {30 * time.Minute, 1, 1}} },
		} {
			x := in
			worsen(&x)
			if after := Assess(x); after.Level < before.Level || before.Known && !after.Known {
				t.Fatalf("%s: level %d known %t became %d %t", name, before.Level, before.Known, after.Level, after.Known)
			}
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
	if _, err := Nearest(all, 5); !errors.Is(err, ErrTooFew) {
		t.Errorf("nothing usable: %v", err)
	}
}

func TestNearestIsFoundOnTheLogOfTheFlow(t *testing.T) {
	m := wendMeasurements()[:9]
	g, err := Nearest(m, m[3].FlowM3s*1.05)
	if err != nil || g.IDs[0] != m[3].ID || !g.Scaled {
		t.Fatalf("%+v %v", g, err)
	}
	if math.Abs(g.DV(m[3].FlowM3s)-m[3].FlowM3s/m[3].WidthM) > 1e-9 {
		t.Error("the measurement itself is not met")
	}
	if r := g.DV(2*m[3].FlowM3s) / g.DV(m[3].FlowM3s); math.Abs(r-math.Pow(2, 0.74)) > 1e-9 {
		t.Errorf("double the flow, %g times the push; want 2^0.74", r)
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

func FuzzParseNumber(f *testing.F) {
	for _, s := range []string{"", "9.53", "Unspecified", "NaN", "1e400", " 7 "} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, ok := ParseNumber(s)
		if ok == math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%q: %g %t", s, v, ok)
		}
	})
}

func FuzzAssessNeverPanicsOrComforts(f *testing.F) {
	f.Add(5.0, 0.9, 12.0, 50.0, 0.1, int64(1000))
	f.Add(math.Inf(1), math.NaN(), -300.0, -5.0, 7.0, int64(-1))
	g := wend(f)
	f.Fuzz(func(t *testing.T, flow, stage, water, percentile, thunder float64, ageMs int64) {
		age := time.Duration(ageMs%1e9) * time.Millisecond
		c := Assess(Input{
			Flow: Measured(flow, age), Stage: Measured(stage, age), Water: Measured(water, age), Geometry: g,
			Percentile: &percentile, Thunder: &thunder, Flood: NoFlood,
			History: []Point{{age, flow, stage}, {age + time.Hour, flow / 2, stage - 1}},
		})
		text := c.Format(US)
		if strings.Contains(strings.ToLower(text), "safe") {
			t.Fatal(text)
		}
		if age > MaxAge && c.Known && c.Level < KeepOut {
			t.Fatalf("known at an age of %v", age)
		}
		if _, err := json.Marshal(c.View(Metric)); err != nil {
			t.Fatal(err)
		}
	})
}
