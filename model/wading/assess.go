package wading

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"
)

// Input is all that is known of a river at a moment. Pointers and NaN are for
// what is not known; nothing that is missing makes the level lower.
type Input struct {
	At   time.Time      // of the judgement
	Zone *time.Location // of the river, for times in words; nil: UTC

	Flow   Reading // m3/s
	Stage  Reading // gauge height, m
	Water  Reading // °C
	Record Record  // of the flow

	FlowPast, StagePast []Past // readings before the last, and the last

	Geometry *Geometry // fitted, or scaled from single measurements
	// StageOnly marks a gauge that never gives a flow: only then may the height
	// stand in for it. Where a flow is missing that should be there, nothing does.
	StageOnly bool
	StageFit  *StageFit

	CeilingM3s    float64 // highest flow at which staff waded here; 0 when it says nothing
	CeilingVisits int

	Season []float64 // daily flows of past years at this time of the year, m3/s; empty: too few
	Years  int       // behind them

	Flood    Flood
	Warnings Warnings

	Regulated   bool
	RegulatedBy string // "dam at ..., schedule ..., telephone ..."

	Thunder Thunder
	Light   Light // in the hours spoken of

	Beside []Beside // further sensors of the river; the worst of all counts
}

// Beside is a further sensor of the river: a second one at the same gauge, or
// another gauge. It can raise the level and make it unknown, never lower it. Of its
// Input only what the gauge itself tells is looked at.
type Beside struct {
	Gauge string // name of the other gauge; empty: the same
	Input
}

// Thunder is the chance of thunder in the hours spoken of, 0-1; nil where no
// forecast, old or new, covers them.
type Thunder struct {
	P     *float64
	Asked bool // a forecast of thunder is known for this river
	Old   bool // but the last one is not fresh
}

// Reason is one thing that speaks for a level.
type Reason struct {
	Code    string // name of the rule, see Bases
	Level   Level
	Floor   bool // rests on a reading that is old or doubted
	Text    func(Units) string
	Details func(Units) string // the arithmetic behind it; nil: none
}

// Basis is where the rule behind the reason comes from.
func (r Reason) Basis() RuleBasis { return bases[r.Code] }

// Limits are the flows from which the levels begin at this gauge, m3/s, by the
// estimate with margin. They do not depend on today's flow.
type Limits struct {
	CareM3s      float64 `json:"care_m3s"`
	BetterNotM3s float64 `json:"better_not_m3s"`
	KeepOutM3s   float64 `json:"keep_out_m3s"`
	Rough        bool    `json:"rough"` // scaled from a few measurements: the lowest of all
}

// Estimate is what the river does at the gauge section now.
type Estimate struct {
	Hydraulics
	Basis   string // "estimated from 32 measurements, 2009-2024"
	Printed bool   // inside the measured range: the numbers may be shown
}

// Caution is the judgement.
type Caution struct {
	At       time.Time
	Zone     *time.Location
	Until    time.Time // past this moment the level is unknown; At where it is already
	Level    Level     // at least this; all of it when Known
	Known    bool
	Doubted  bool     // a reading was doubted: good news must wait
	Reasons  []Reason // worst first
	Unknowns []string // what is missing, in words
	Estimate *Estimate
	Limits   *Limits
	Flow     Reading
	Stage    Reading
	Water    Reading
}

// Assess judges a river. The worst reason gives the level. It is not known when
// anything that could raise it is missing, old or doubted, or when nothing ties
// the water to danger; what was last read then still gives a floor. A level of 3
// by a reading that is not doubted stays known, as nothing is worse.
func Assess(in Input) Caution {
	a := &assessment{in: in, c: Caution{At: in.At, Zone: in.Zone, Flow: in.Flow, Stage: in.Stage, Water: in.Water}}
	a.c.Limits = in.limits()
	judged := a.sensors()
	for _, b := range in.Beside {
		a.beside(b)
	}
	a.byWarnings()
	a.byDam()
	a.byWater()
	a.byThunder()
	a.byLight()
	a.forget()
	return a.close(judged)
}

// forget drops the readings and years behind a judgement. The texts of its reasons hold
// the assessment for as long as the caution is kept, and need none of them.
func (a *assessment) forget() {
	a.in.FlowPast, a.in.StagePast, a.in.Season, a.in.Beside = nil, nil, nil, nil
}

type assessment struct {
	in    Input
	c     Caution
	floor bool  // what is added rests on a reading that is doubted
	could Level // the highest level that what is missing could ask for
	other bool  // of a gauge beside the river's own: it need not tie the water to danger
}

// sensors judges the flow and the height of a gauge, and reports whether one of them
// ties the water to danger.
func (a *assessment) sensors() (judged bool) {
	in := a.in
	flow := newSensor("flow", false, in.Flow, in.FlowPast)
	stage := newSensor("gauge height", true, in.Stage, in.StagePast)
	ofFlow, ofStage, byHeight := beside(flow, stage)

	if !in.StageOnly {
		judged = a.judge(flow, ofFlow, KeepOut, a.byFlow)
		if byHeight > 0 && a.c.Doubted {
			a.floor = true
			a.byFlow(byHeight)
			a.floor = false
		}
	}
	could := Quiet
	if in.StageOnly || in.Flood.Any() {
		could = KeepOut
	}
	if in.StageOnly || in.Flood.Any() || in.Stage.given() {
		judged = a.judge(stage, ofStage, could, a.byStage) || judged
	}
	return judged
}

// beside takes over what a further sensor asks for.
func (a *assessment) beside(b Beside) {
	s := &assessment{in: b.Input, other: b.Gauge != ""}
	s.in.At, s.in.Zone = a.in.At, a.in.Zone
	s.sensors()
	s.forget()
	at := ""
	if s.other {
		at = "gauge " + b.Gauge + ": "
	}
	had := map[string]bool{}
	for _, r := range a.c.Reasons {
		had[r.words(Metric)] = true
	}
	for _, r := range s.c.Reasons {
		if x := r.Text; s.other {
			r.Text = func(u Units) string { return at + x(u) }
		}
		if !had[r.words(Metric)] {
			a.c.Reasons = append(a.c.Reasons, r)
		}
	}
	for _, w := range s.c.Unknowns {
		if w = at + w; !slices.Contains(a.c.Unknowns, w) {
			a.unknown(w)
		}
	}
	a.could, a.c.Doubted = max(a.could, s.could), a.c.Doubted || s.c.Doubted
	if u := s.c.Until; !u.IsZero() && (a.c.Until.IsZero() || u.Before(a.c.Until)) {
		a.c.Until = u
	}
}

func (a *assessment) add(code string, l Level, text func(Units) string) {
	a.put(code, l, !a.floor, text)
}

func (a *assessment) put(code string, l Level, plausible bool, text func(Units) string) {
	a.c.Reasons = append(a.c.Reasons, Reason{Code: code, Level: l, Floor: !plausible, Text: text})
}

func (a *assessment) unknown(what string) { a.c.Unknowns = append(a.c.Unknowns, what) }

// missing tells of something that could ask for a level.
func (a *assessment) missing(what string, could Level) {
	a.unknown(what)
	a.could = max(a.could, could)
}

// judge judges one sensor by its rule, and reports whether it is plausible and ties
// the water to danger. One that is old or doubted gives a floor: by its last
// value and, where that is doubted, by the highest of the hours before.
func (a *assessment) judge(s *sensor, beside []string, could Level, by func(float64) bool) (judged bool) {
	why := []string{}
	if x := s.last.trouble(s.what); x != "" {
		why = append(why, x)
	} else if !s.height && s.last.Value < 0 {
		why = append(why, "the flow reading is negative: tide or backwater")
	}
	doubts, thin := beside, []string{}
	if s.last.given() && (!s.height || could != Quiet) { // such a height only watches for a rise, as the flow does too
		doubts, thin = append(s.doubts(a.in.Record), beside...), s.thin(a.in.Record)
	}
	doubted := len(doubts) > 0 || s.last.Doubt != "" || !s.height && s.last.Value < 0
	a.c.Doubted = a.c.Doubted || doubted
	why = append(append(why, doubts...), thin...)
	for _, w := range why {
		a.missing(w, could)
	}
	plausible := len(why) == 0
	if plausible {
		a.until(s.last)
	}
	a.floor = !plausible
	if s.last.given() {
		judged = by(s.last.Value)
		if top := s.highest(); doubted && top > s.last.Value {
			by(top)
		}
	}
	a.floor = false
	if len(s.past) > 0 {
		a.byRise(s, plausible)
	}
	return judged && plausible
}

// until brings the end of validity forward to that of a reading.
func (a *assessment) until(r Reading) {
	if t := a.in.At.Add(r.maxAge() - r.Age); a.c.Until.IsZero() || t.Before(a.c.Until) {
		a.c.Until = t
	}
}

func (a *assessment) close(judged bool) Caution {
	c := &a.c
	sort.SliceStable(c.Reasons, func(i, j int) bool { return int(c.Reasons[j].Level) < int(c.Reasons[i].Level) })
	sure := Quiet
	for _, r := range c.Reasons {
		c.Level = max(c.Level, r.Level)
		if !r.Floor {
			sure = max(sure, r.Level)
		}
	}
	c.Known = sure == KeepOut || judged && a.could <= c.Level && sure == c.Level
	if !c.Known || c.Until.IsZero() {
		c.Until = c.At
	}
	return *c
}

// byFlow judges a flow by the best rung of the ladder: the gauge's own geometry,
// else the percentile of the day. It returns whether there was a rung.
func (a *assessment) byFlow(q float64) (judged bool) {
	in := a.in
	if in.CeilingM3s > 0 && q > in.CeilingM3s {
		a.add("ceiling.wading", BetterNot, func(u Units) string {
			return fmt.Sprintf("gauge staff have no record of wading at a flow this high: the highest of %d visits was %s",
				in.CeilingVisits, u.Flow(in.CeilingM3s))
		})
	}
	if in.Record.Days > 0 && q > in.Record.HighM3s {
		level := BetterNot
		if q > recordTimes*in.Record.HighM3s {
			level = KeepOut
		}
		a.add("level.record", level, func(u Units) string {
			return fmt.Sprintf("%s is above any flow on record here (highest %s in %d days)", u.Flow(q), u.Flow(in.Record.HighM3s), in.Record.Days)
		})
	}
	if category, low := in.Flood.FlowCategory(q); category != "none" {
		judged = true
		a.add("nws.flood_category", KeepOut, func(u Units) string {
			return fmt.Sprintf("flow %s is at or above the %s flow of floods (they start at %s)", u.Flow(q), category, u.Flow(low))
		})
	}
	if in.Geometry != nil {
		a.byGeometry(q)
		judged = true
	}
	if len(in.Season) > 0 {
		a.bySeason(q)
		judged = true
	}
	if judged && in.Geometry == nil && !a.other {
		a.add("level.unmeasured", Care, func(Units) string {
			return "no depth or speed was measured at this gauge: nobody can say how hard this flow pushes"
		})
	}
	if !judged && !a.floor && !a.other {
		a.missing("no depth, speed or flow statistics for this gauge, so flow cannot be judged", KeepOut)
	}
	return judged
}

// bySeason puts a flow among those of past years at the same time of the year. It
// asks for caution only where no section was measured.
func (a *assessment) bySeason(q float64) {
	below := 0.0
	for _, v := range a.in.Season {
		switch {
		case v < q:
			below++
		case v == q:
			below += 0.5
		}
	}
	percentile := 100 * below / float64(len(a.in.Season))
	class, level := classOf(percentile), Quiet
	if a.in.Geometry == nil {
		switch class {
		case MuchAbove:
			level = BetterNot
		case Above:
			level = Care
		default: // a common flow or less asks for nothing by itself
		}
	}
	a.add("usgs.percentile_class", level, func(Units) string {
		return fmt.Sprintf("flow %s for the date (percentile %.0f, %d years of record)", class.Words(), percentile, a.in.Years)
	})
}

func (a *assessment) byGeometry(q float64) {
	g := a.in.Geometry
	low, high := g.Within()
	e := Estimate{Hydraulics: g.at(min(max(q, low), high)), Basis: g.basis(), Printed: q >= low && q <= high}
	level := max(flowLevel(e.Hydraulics), flowLevel(g.at(max(q, low))))
	if q == a.in.Flow.Value {
		a.c.Estimate = &e
	}
	if q > g.MaxFlow {
		// Higher than anything measured: never less than 2, and never not known.
		level = max(level, BetterNot)
	}
	r := Reason{Code: "level.flow", Level: level, Floor: a.floor, Text: e.words, Details: e.arithmetic}
	if !e.Printed {
		r.Code = "level.outside_fit"
		r.Text = func(u Units) string {
			if q > high {
				return fmt.Sprintf("flow %s is above anything measured here (highest %s): depth × speed is at least %s", u.Flow(q), u.Flow(g.MaxFlow), u.DV(e.DVHighM2s))
			}
			return fmt.Sprintf("flow %s is below anything measured here (lowest %s): depth × speed is at most %s", u.Flow(q), u.Flow(g.MinFlow), u.DV(e.DVHighM2s))
		}
	}
	a.c.Reasons = append(a.c.Reasons, r)
}

// words puts an estimate as somebody at the gauge would.
func (e Estimate) words(u Units) string {
	return fmt.Sprintf("%s deep at %s at the gauge: %s our keep-out line (%s with margin)", u.Length(e.DepthM), u.Speed(e.VelocityMS), times(e.DVM2s), times(e.DVHighM2s))
}

// times is how often a push holds the one at which one keeps out, rounded down:
// what is below the line must not read as on it.
func times(dvM2s float64) string {
	return fmt.Sprintf("%.1f times", math.Floor(10*dvM2s/KeepOutDV+1e-9)/10)
}

func (e Estimate) arithmetic(u Units) string {
	t := fmt.Sprintf("mean depth × mean speed %s, with margin %s (%s). Our caution levels start at %s, %s and %s",
		u.DV(e.DVM2s), u.DV(e.DVHighM2s), e.Basis, u.DV(CareDV), u.DV(BetterNotDV), u.DV(KeepOutDV))
	if e.DVM2s >= GaugersLimit {
		t += "; gauging staff do not wade at or above " + u.DV(GaugersLimit)
	}
	return t
}

// byStage judges the gauge height by the flood categories and, at a gauge without
// flow, by the fit on height.
func (a *assessment) byStage(s float64) (judged bool) {
	in := a.in
	low, _ := in.Flood.lowest()
	// Below all categories the height says nothing about wading: rivers are too
	// strong for legs long before they flood.
	if category := in.Flood.Category(s); category != "none" {
		judged = true
		a.add("nws.flood_category", KeepOut, func(u Units) string {
			return fmt.Sprintf("gauge height %s is at or above the %s stage (flood stages start at %s)", u.Length(s), category, u.Length(low))
		})
	}
	if !in.StageOnly {
		return judged
	}
	f := in.StageFit
	if f == nil {
		if !judged && !a.floor && !a.other {
			a.missing("no depth or speed measurements for this gauge, so gauge height cannot be judged", KeepOut)
		}
		return judged
	}
	push := f.DVHigh(max(s, f.MinM))
	level := flowLevel(Hydraulics{DVHighM2s: push})
	if s > f.MaxM {
		level = max(level, BetterNot)
	}
	a.add("level.flow", level, func(u Units) string {
		return fmt.Sprintf("depth × speed %s with margin: %s our keep-out line, from gauge height only (%d measurements)", u.DV(push), times(push), f.N)
	})
	return true
}

func (a *assessment) byDam() {
	if !a.in.Regulated {
		return
	}
	a.add("regulated", Care, func(Units) string {
		t := "an upstream dam can raise the water at any time without warning, before any gauge shows it"
		if a.in.RegulatedBy != "" {
			t += " (" + a.in.RegulatedBy + ")"
		}
		return t
	})
}
