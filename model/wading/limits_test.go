package wading

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
)

// Each of these tells two readings of the code apart that no other test does.

func TestARecedingRiverIsJudgedByWhatItIsNow(t *testing.T) {
	in := calm(t)
	in.steady(19)
	for i, p := range in.FlowPast {
		if h := (p.Age - in.Flow.Age).Hours(); h < 8 {
			in.FlowPast[i].Value = 13 + 0.75*h
			in.StagePast[i].Value = heightAt(13 + 0.75*h)
		}
	}
	in.Flow.Value, in.Stage.Value = 13, heightAt(13)
	if c := Assess(in); c.Level != Care || !c.Known {
		t.Errorf("level %d known %t\n%s", c.Level, c.Known, c.Format(Metric))
	}
}

func TestAHeightWithoutFloodStagesOnlyWatchesForARise(t *testing.T) {
	in := calm(t)
	in.Flood = NoFlood
	in.StagePast = without(in.StagePast, 120*time.Hour, 99*day)
	if c := Assess(in); !c.Known || c.Doubted || strings.Contains(strings.Join(c.Unknowns, " "), "gauge height") {
		t.Errorf("known %t\n%s", c.Known, c.Format(Metric))
	}
	in.Flood = Flood{ActionM: 3, MinorM: 4, ModerateM: 5, MajorM: 6}
	if c := Assess(in); c.Known || !strings.Contains(strings.Join(c.Unknowns, " "), "of gauge height readings: too few") {
		t.Errorf("known %t\n%s", c.Known, c.Format(Metric))
	}
}

func TestUntilWhenACautionHolds(t *testing.T) {
	in := calm(t)
	if c := Assess(in); !c.Known || !c.Until.Equal(noon.Add(MaxAge-20*time.Minute)) {
		t.Errorf("valid until %s", c.Until)
	}
	in.Stage.Age += 30 * time.Minute
	if c := Assess(in); !c.Until.Equal(noon.Add(MaxAge - 50*time.Minute)) {
		t.Errorf("with an older height, valid until %s", c.Until)
	}
	in.Flow.Doubt = "ice"
	if c := Assess(in); c.Known || !c.Until.Equal(noon) {
		t.Errorf("known %t, valid until %s", c.Known, c.Until)
	}
	none := Input{At: noon, Flood: NoFlood, Warnings: Warnings{Asked: true, Known: true, List: []Warning{{Hazard: FloodHazard}}}}
	if c := Assess(none); !c.Known || c.Level != KeepOut || !c.Until.Equal(noon) {
		t.Errorf("a warning alone: level %d known %t until %s", c.Level, c.Known, c.Until)
	}
}

func TestAFlowAboveTheRecord(t *testing.T) {
	for _, c := range []struct {
		high  float64
		level Level
		known bool
	}{{5.2, Quiet, true}, {4.8, BetterNot, true}, {5 / 2.9, BetterNot, true}, {5 / 3.1, KeepOut, false}} {
		in := calm(t)
		in.Record.HighM3s = c.high
		got := Assess(in)
		said := strings.Contains(got.Format(Metric), "above any flow on record here")
		if got.Level != c.level || got.Known != c.known || said != (c.level > Quiet) {
			t.Errorf("highest on record %g: level %d known %t\n%s", c.high, got.Level, got.Known, got.Format(Metric))
		}
	}
}

func TestTheFlowOfFloodsIsAPrintedLimit(t *testing.T) {
	in := calm(t)
	free := Assess(in).Limits
	in.Flood.FlowsM3s = [4]float64{0, 7, 9, math.NaN()}
	if l := Assess(in).Limits; l.KeepOutM3s != 7 || l.BetterNotM3s != 7 || l.CareM3s != 7 || free.CareM3s < 8 {
		t.Errorf("%+v, without floods %+v", l, free)
	}
	in.Flood.FlowsM3s = [4]float64{70, 80, 90, 100}
	if l := Assess(in).Limits; *l != *free {
		t.Errorf("floods that begin higher change the limits: %+v, %+v", l, free)
	}
}

func TestWhatTheReasonsSay(t *testing.T) {
	for _, c := range []struct {
		what     string
		set      func(*Input)
		has, not string
	}{
		{"half of what is equal counts as below", func(i *Input) { i.Season = slices.Repeat([]float64{5}, 10) }, "percentile 50,", ""},
		{"below what gaugers keep to", func(i *Input) { i.steady(13) }, "", "gauging staff do not wade"},
		{"above it", func(i *Input) { i.steady(50) }, "gauging staff do not wade", ""},
		{"the largest of several rises is told", func(i *Input) { i.flows(5, 5.7, 6.5, 7.6) }, "flow up 52% in 3.0 h", ""},
		{"a step of no unit", func(i *Input) {
			i.flows(slices.Concat([]float64{40, 40. / 21}, slices.Repeat([]float64{2, 2.01}, 5))...)
		}, "21-fold", "mix-up"},
		{"a step a little too large for one", func(i *Input) { i.flows(slices.Concat([]float64{88, 2}, slices.Repeat([]float64{2, 2.01}, 5))...) }, "44-fold", "mix-up"},
		{"a warning in full", func(i *Input) {
			i.warn(Warning{Hazard: FloodHazard, Event: "Flood Warning", Authority: "NWS Fells", Area: "somewhere in Upper Wend", Expires: noon.Add(time.Hour)})
		}, "official warning: Flood Warning (NWS Fells), somewhere in Upper Wend, until 13:00 UTC on 20 May 2026", ""},
		{"a warning that says little", func(i *Input) { i.warn(Warning{Hazard: FloodHazard, Headline: "High water"}) }, "official warning: High water\n", ""},
		{"very cold water", func(i *Input) { i.Water.Value = 5 }, "within 1 min and the use of your muscles within 10", ""},
		{"a height above action where nothing was measured", func(i *Input) { i.heightOnly(t, 5); i.StageFit = nil; i.Flood.ActionM = 0.5 }, "action stage", "gauge height cannot be judged"},
		{"a height that moved only before the flow stood still", func(i *Input) {
			i.flows(slices.Repeat([]float64{5}, 8)...)
			for k := range i.StagePast {
				if i.StagePast[k].Age > i.Stage.Age+9*time.Hour {
					i.StagePast[k].Value += 0.06
				}
			}
		}, "", "while the gauge height has"},
		{"a week without any change, though the record has ten such days", func(i *Input) {
			i.Record.StuckDays = 10
			i.flows(slices.Repeat([]float64{5}, 8*24)...)
			i.Stage, i.StagePast, i.Flood = Reading{}, nil, NoFlood
		}, "stuck", ""},
	} {
		t.Run(c.what, func(t *testing.T) {
			in := calm(t)
			c.set(&in)
			text := Assess(in).Format(Metric)
			if !strings.Contains(text, c.has) || c.not != "" && strings.Contains(text, c.not) {
				t.Errorf("want %q and not %q in\n%s", c.has, c.not, text)
			}
		})
	}
}

func TestTheHeadlineOfAnUnknownLevel(t *testing.T) {
	for c, want := range map[string]Caution{
		"Caution level unknown: treat the river as too high until you have seen it":                                      {},
		"Caution level unknown, but at least 2 (better not to wade): treat the river as too high until you have seen it": {Level: BetterNot},
		"Caution 0: nothing at this gauge calls for more than the usual care":                                            {Known: true},
	} {
		if got := want.Headline(); got != c {
			t.Errorf("%q, want %q", got, c)
		}
	}
}

func TestMoreOfARise(t *testing.T) {
	level := func(height bool, hours []float64, values ...float64) Level {
		var past []Past
		for i := range values {
			past = append(past, Past{time.Duration(hours[i] * float64(time.Hour)), values[i]})
		}
		s := newSensor("x", height, measured(values[len(values)-1], 0), past)
		return s.riseTo(len(s.past) - 1).level
	}
	if got := level(false, []float64{4, 2, 0}, 5, 5, 6.5); got != KeepOut {
		t.Errorf("a third more between two readings two hours apart: %d", got)
	}
	if got := level(false, []float64{26, 25, 24, 12, 0}, 2, 2, 5, 5, 5); got != Quiet {
		t.Errorf("a rise that ended a day ago: %d", got)
	}
	// The last reading is doubted: the rise of the readings before it stands.
	for _, last := range [][]float64{{5, 5, 5, 9, 5}, {5, 5, 5, 9, 8, 5}} {
		in := calm(t)
		in.flows(last...)
		in.Stage, in.StagePast, in.Flood = Reading{}, nil, NoFlood
		in.Flow.Doubt = "ice"
		if c := Assess(in); c.Known || c.Level != KeepOut {
			t.Errorf("%v: level %d known %t", last, c.Level, c.Known)
		}
	}
}

func TestTheFloorLooksBackSixHoursAndBeforeAStep(t *testing.T) {
	in := calm(t)
	in.steady(5)
	for i, p := range in.FlowPast {
		if h := (p.Age - in.Flow.Age).Hours(); h > 60 {
			in.FlowPast[i].Value, in.StagePast[i].Value = 40, heightAt(40)
		}
	}
	in.Flow.Doubt = "ice"
	if c := Assess(in); c.Known || c.Level != Quiet {
		t.Errorf("high three days ago: level %d known %t\n%s", c.Level, c.Known, c.Format(Metric))
	}
	in = calm(t)
	in.flows(slices.Concat([]float64{5, 40}, slices.Repeat([]float64{1.9, 1.91}, 4))...)
	in.Stage, in.StagePast, in.Flood = Reading{}, nil, NoFlood
	if c := Assess(in); c.Known || c.Level != KeepOut {
		t.Errorf("one reading of 40 eight hours ago, and a step that no river makes: level %d known %t\n%s", c.Level, c.Known, c.Format(Metric))
	}
	in = calm(t)
	in.Record.LowM3s = 0
	in.flows(0.013, 0.009, 0.006, 0.004, 0)
	in.Stage, in.StagePast, in.Flood = Reading{}, nil, NoFlood
	if text := Assess(in).Format(Metric); !strings.Contains(text, "fell too far") {
		t.Errorf("a trickle that dries up within four hours:\n%s", text)
	}
}

func TestWhatIsNoNumberIsNoReading(t *testing.T) {
	s := newSensor("flow", false, measured(5, 0), []Past{{2, math.NaN()}, {3, math.Inf(1)}, {0, 5}, {1, 6}})
	if len(s.all) != 2 || s.newest() != 5 {
		t.Errorf("%+v", s.all)
	}
	if (Flood{ActionM: -1000 * footM, MinorM: -9999, ModerateM: math.NaN(), MajorM: math.NaN()}).Any() {
		t.Error("a code for no value is a height")
	}
}

// A gauge that gives a value a day, with a silence of some hours before the last.
func TestADailyGaugeMayBeSilentForADayAndAHalf(t *testing.T) {
	for hours, known := range map[float64]bool{35: true, 37: false} {
		in := calm(t)
		in.daily(5 * time.Hour)
		for i := range in.FlowPast[1:] {
			in.FlowPast[i+1].Age += time.Duration((hours - 24) * float64(time.Hour))
		}
		in.FlowPast = append(in.FlowPast, Past{5*time.Hour + 167*time.Hour, 5.02})
		if c := Assess(in); c.Known != known {
			t.Errorf("a silence of %g h: known %t\n%s", hours, c.Known, c.Format(Metric))
		}
	}
}

// pair is a flow and a height read together some hours ago.
type pair struct{ hours, flow, height float64 }

// compared says whether the last pair is doubted beside the others.
func compared(pairs ...pair) (why string, byHeight float64) {
	var flow, stage []Past
	for _, p := range pairs {
		age := time.Duration(p.hours * float64(time.Hour))
		flow, stage = append(flow, Past{age, p.flow}), append(stage, Past{age, p.height})
	}
	ofFlow, _, by := beside(newSensor("flow", false, measured(1, 0), flow), newSensor("gauge height", true, measured(1, 0), stage))
	return strings.Join(ofFlow, " "), by
}

func TestWhatFlowAndHeightAreComparedWith(t *testing.T) {
	// usual is a steady week at 5 m3/s and 1 m, and what else it had so many hours ago.
	usual := func(n int, from float64, more ...pair) (out []pair) {
		for i := range n {
			out = append(out, pair{from + float64(i), 5 + 0.01*float64(i%3), 1})
		}
		return append(out, more...)
	}
	many := func(n int, from, flow, height float64) (out []pair) {
		for i := range n {
			out = append(out, pair{from + 0.9*float64(i), flow + 0.01*float64(i%2), height})
		}
		return out
	}
	for _, c := range []struct {
		what  string
		pairs []pair
		says  string
	}{
		{"24 pairs", usual(24, 80, pair{1, 5.01, 1}, pair{0, 5, 1}), ""},
		{"23 pairs", usual(23, 80, pair{1, 5.01, 1}, pair{0, 5, 1}), "too few"},
		{"pairs of less than three days ago", usual(40, 30, pair{1, 5.01, 1}, pair{0, 5, 1}), "too few"},
		{"pairs of a little more than three days ago count", usual(40, 90, append(many(6, 73, 10, 1.4), pair{1, 5.01, 1.4}, pair{0, 5, 1.4})...), "do not agree"},
		{"heights 0.033 m above are not alike", usual(40, 90, append(many(6, 80, 10, 1.033), pair{1, 5.01, 1}, pair{0, 5, 1})...), ""},
		{"heights 0.027 m above are", usual(40, 90, append(many(6, 80, 10, 1.027), pair{1, 5.01, 1}, pair{0, 5, 1})...), "do not agree"},
		{"flows a fifth above are not alike", usual(40, 90, append(many(6, 80, 6, 1.3), pair{1, 5.01, 1}, pair{0, 5, 1})...), ""},
	} {
		if why, _ := compared(c.pairs...); !strings.Contains(why, c.says) || (why == "") != (c.says == "") {
			t.Errorf("%s: %q, want %q", c.what, why, c.says)
		}
	}
	low, high := bracket([][2]float64{{1, 1}, {2, 2}, {3, 9}, {4, 8}, {5, 9}, {6, 9}, {7, 9}, {8, 12}, {9, 13}}, 3, 7)
	if low != 8 || high != 9 {
		t.Errorf("of five on each side: %g to %g", low, high)
	}
	// Every two hours, the heights 33 minutes beside the flows: none was read together.
	in := calm(t)
	aged(&in.Stage, &in.StagePast, 33*time.Minute)
	odd := func(past []Past) (out []Past) {
		for i := 1; i < len(past); i += 2 {
			out = append(out, past[i])
		}
		return out
	}
	in.FlowPast, in.StagePast = odd(in.FlowPast), odd(in.StagePast)
	if text := Assess(in).Format(Metric); !strings.Contains(text, "together to compare them") {
		t.Errorf("%s", text)
	}
}

func TestWhichVisitsCount(t *testing.T) {
	ok := Measurement{FlowM3s: 6, WidthM: 10, AreaM2: 6, VelocityMS: 1}
	if !ok.Usable() {
		t.Fatal("a good visit")
	}
	for what, change := range map[string]func(*Measurement){
		"no flow": func(m *Measurement) { m.FlowM3s, m.VelocityMS = -6, -1 }, "no width": func(m *Measurement) { m.WidthM = -1 },
		"no area": func(m *Measurement) { m.AreaM2, m.VelocityMS = -6, -1 }, "no speed": func(m *Measurement) { m.VelocityMS, m.FlowM3s, m.AreaM2 = 0, math.SmallestNonzeroFloat64, 1 },
		"poor": func(m *Measurement) { m.Poor = true }, "ice": func(m *Measurement) { m.Ice = true },
		"5.5 % too much": func(m *Measurement) { m.VelocityMS = 1.055 }, "5.5 % too little": func(m *Measurement) { m.VelocityMS = 0.945 },
		"area and speed below zero": func(m *Measurement) { m.AreaM2, m.VelocityMS = -6, -1 },
		"not a number":              func(m *Measurement) { m.WidthM = math.NaN() },
	} {
		m := ok
		if change(&m); m.Usable() {
			t.Errorf("%s: %+v counts", what, m)
		}
	}
	if m := ok; func() bool { m.VelocityMS = 1.045; return !m.Usable() }() {
		t.Error("4.5 % too much does not count")
	}
	a, b := ok, ok
	a.ID, b.ID, a.Wading, b.Ice, a.Poor = "x", "x", true, true, true
	if got := Merge([]Measurement{a, b}); len(got) != 1 || got[0].Wading || !got[0].Ice || !got[0].Poor || got[0].FlowM3s != 12 || got[0].VelocityMS != 1 {
		t.Errorf("%+v", got)
	}
	if got := Merge([]Measurement{b, a}); got[0].Wading || !got[0].Ice || !got[0].Poor {
		t.Errorf("%+v", got)
	}
	visits := make([]Measurement, 6)
	for i := range visits {
		visits[i] = Measurement{FlowM3s: float64(i + 1), Wading: i < 5}
	}
	if q, n, ok := Ceiling(visits); !ok || q != 5 || n != 5 {
		t.Errorf("ceiling %g of %d visits, %t", q, n, ok)
	}
	if _, _, ok := Ceiling(visits[1:]); ok {
		t.Error("four visits make a ceiling")
	}
}

func TestWhatAFitWants(t *testing.T) {
	visits := func(n int, span float64) (out []Measurement) {
		for i := range n {
			q := math.Pow(span, float64(i)/float64(n-1))
			out = append(out, Measurement{At: time.Date(2020, 1, 1+i, 0, 0, 0, 0, time.UTC), FlowM3s: q, WidthM: 10, AreaM2: 2 * q, VelocityMS: 0.5, StageM: q})
		}
		return out
	}
	for _, c := range []struct {
		n    int
		span float64
		ok   bool
	}{{10, 11, true}, {9, 11, false}, {10, 9.5, false}} {
		if _, err := FitGeometry(visits(c.n, c.span)); errors.Is(err, ErrTooFew) == c.ok {
			t.Errorf("%d visits over %g times: %v", c.n, c.span, err)
		}
	}
	if _, err := FitStage(visits(9, 11)); err == nil {
		t.Error("nine heights make a fit")
	}
	same := visits(12, 11)
	for i := range same {
		same[i].StageM = 1
	}
	if _, err := FitStage(same); err == nil {
		t.Error("one height makes a fit")
	}
	for i := range same {
		same[i].StageM = []float64{math.NaN(), 0}[i%2]
	}
	if _, err := FitStage(same); err == nil {
		t.Error("visits without a height make a fit")
	}
	rough := visits(12, 11)
	for i := range rough {
		rough[i].WidthM *= 1 + 0.2*float64(i%2)
	}
	f, err := FitStage(rough)
	if err != nil {
		t.Fatal(err)
	}
	ss := 0.0
	for _, m := range rough {
		e := math.Log(m.FlowM3s/m.WidthM) - f.A - f.B*m.StageM
		ss += e * e
	}
	if want := math.Sqrt(ss / 10); math.Abs(f.S-want) > 1e-12 {
		t.Errorf("spread %g, want %g", f.S, want)
	}
	// Of old visits only the highest is kept.
	old := append(visits(12, 11), visits(3, 20)...)
	for i := range 3 {
		old[12+i].At = time.Date(2004, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	if g, err := FitGeometry(old); err != nil || g.N != 13 || g.MaxFlow != 20 || g.From.Year() != 2004 || g.To.Year() != 2020 {
		t.Errorf("%+v, %v", g, err)
	}
	for i := range 3 {
		old[12+i].At = time.Date(2005, 6, 1, 0, 0, 0, 0, time.UTC)
	}
	if g, err := FitGeometry(old); err != nil || g.N != 15 {
		t.Errorf("14.6 years old: %d visits, %v", g.N, err)
	}
	g, err := FitGeometry(visits(12, 11))
	if err != nil || !strings.HasSuffix(g.basis(), "from 12 measurements, 2020") {
		t.Errorf("%q %v", g.basis(), err)
	}
	if lo, hi := g.Within(); math.Abs(lo-0.5) > 1e-9 || math.Abs(hi-13.2) > 1e-9 {
		t.Errorf("printed from %g to %g", lo, hi)
	}
	undated := visits(12, 11)
	undated[3].At = time.Time{}
	if g, err := FitGeometry(undated); err != nil || g.From.Year() != 2020 && !g.From.IsZero() {
		t.Errorf("from %s, %v", g.From, err)
	}
	few, err := Scale(append(visits(3, 9), Measurement{FlowM3s: 1, WidthM: 10, AreaM2: 2, VelocityMS: 0.5}))
	if err != nil || few.From.Year() != 2020 || math.Abs(few.margin()-math.Exp(1.2816*0.2)) > 1e-9 {
		t.Errorf("%+v, %v", few, err)
	}
	if lo, hi := few.Within(); math.Abs(lo-1./3) > 1e-9 || math.Abs(hi-27) > 1e-9 {
		t.Errorf("printed from %g to %g", lo, hi)
	}
	for _, p := range []Power{{Coef: 0, Exp: 0.4}, {Coef: 1, Exp: -0.1}} {
		if q := p.flowAt(1.2); !math.IsInf(q, 1) {
			t.Errorf("%+v reaches it at %g", p, q)
		}
	}
	if q := (Power{Coef: 2, Exp: 0.5}).flowAt(4); q != 4 {
		t.Errorf("reached at %g", q)
	}
}

func TestAdviceForFish(t *testing.T) {
	if !Graver(FishStop, FishRest) || Graver(FishNone, FishThermometer) || Graver(FishRest, FishRest) {
		t.Error("the order of the advices")
	}
	if math.Abs(MontanaLineC-22.7778) > 1e-4 {
		t.Errorf("Montana's line at %g °C", MontanaLineC)
	}
}
