package wading

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Reading is a value with its age. The zero Reading is one that is missing.
type Reading struct {
	Value   float64
	Age     time.Duration // since it was taken, not since it was fetched
	Present bool
	Daily   bool   // a site that gives one value a day: it may be older
	Doubt   string // why the value must not be trusted: "ice", "equipment"; empty if it may
	Modeled bool   // worked out, not measured (water temperature)
}

// Measured is a reading at hand.
func Measured(value float64, age time.Duration) Reading {
	return Reading{Value: value, Age: age, Present: true}
}

// Oldest a reading may be before it counts as missing. Our own default: gauges
// record every 15 to 60 minutes and send about hourly.
const (
	MaxAge      = 2 * time.Hour
	MaxAgeDaily = 6 * time.Hour
)

// stale tells whether age is all that is wrong with a reading.
func (r Reading) stale() bool {
	r2 := r
	r2.Age = 0
	return r.trouble("") != "" && r2.trouble("") == "" && r.Age > 0
}

// trouble says why a reading cannot be used; empty when it can.
func (r Reading) trouble(what string) string {
	limit := MaxAge
	if r.Daily {
		limit = MaxAgeDaily
	}
	switch {
	case !r.Present, math.IsNaN(r.Value), math.IsInf(r.Value, 0):
		return "there is no recent " + what + " reading"
	case r.Doubt != "":
		return fmt.Sprintf("the %s reading cannot be trusted (%s)", what, r.Doubt)
	case r.Age < -10*time.Minute:
		return "the " + what + " reading is dated in the future: a clock is wrong"
	case r.Age > limit:
		return fmt.Sprintf("the last %s reading is %s", what, age(r.Age))
	}
	return ""
}

// Input is all that is known of a river now. Pointers and NaN are for what is
// not known; nothing that is missing makes the level lower.
type Input struct {
	Flow    Reading // m3/s
	Stage   Reading // gauge height, m
	Water   Reading // °C
	History []Point // past readings with the latest, for the rate of rise

	Geometry *Geometry // fitted, or scaled from one measurement
	// StageOnly marks a gauge that never gives a flow: only then may the height
	// stand in for it. Where a flow is missing that should be there, nothing does.
	StageOnly bool
	StageFit  *StageFit

	CeilingM3s    float64 // highest flow at which staff waded here; 0 when it says nothing
	CeilingVisits int

	Percentile *float64 // of the flow for its day of the year, 0-100
	Years      int      // of record behind it

	Flood        Flood
	FloodWarning string // text of a flood or flash-flood warning in force; empty when none

	Regulated   bool
	RegulatedBy string // "dam at ..., schedule ..., telephone ..."

	Thunder *float64 // chance of thunder in the hours spoken of, 0-1
}

// Reason is one thing that speaks for a level.
type Reason struct {
	Code  string // name of the rule, see Bases
	Level Level
	Text  func(Units) string `json:"-"`
}

// Basis is where the rule behind the reason comes from.
func (r Reason) Basis() Basis { return Bases[r.Code] }

// Limits are the flows from which the levels begin at this gauge, m3/s, by the
// estimate with margin.
type Limits struct {
	CareM3s      float64 `json:"care_m3s"`
	BetterNotM3s float64 `json:"better_not_m3s"`
	KeepOutM3s   float64 `json:"keep_out_m3s"`
}

// Estimate is what the river does at the gauge section now.
type Estimate struct {
	Hydraulics
	Basis   string // "estimated from 32 measurements, 2009-2024"
	Printed bool   // inside the measured range: the numbers may be shown
}

// Caution is the judgement.
type Caution struct {
	Level    Level // at least this; all of it when Known
	Known    bool
	Reasons  []Reason // worst first
	Unknowns []string // what is missing, in words
	Estimate *Estimate
	Limits   *Limits
	Flow     Reading
	Stage    Reading
	Water    Reading
}

// Blocks tells whether good conditions must not be announced: level 2 or more,
// or not known.
func (c Caution) Blocks() bool { return !c.Known || c.Level >= BetterNot }

// Assess judges a river. The worst reason gives the level. It is not known when
// the flow (the height, at a gauge that has no flow) is missing, old or doubted,
// or when nothing ties it to danger; a level of 3 by another reason stays known,
// as nothing is worse.
func Assess(in Input) Caution {
	a := &assessment{in: in, c: Caution{Flow: in.Flow, Stage: in.Stage, Water: in.Water}}
	flowTrouble, stageTrouble := in.Flow.trouble("flow"), in.Stage.trouble("gauge height")
	if flowTrouble == "" && in.Flow.Value < 0 {
		flowTrouble = "the flow reading is negative: tide or backwater"
	}
	if in.Geometry != nil {
		l := Limits{in.Geometry.LimitFlowHigh(CareDV), in.Geometry.LimitFlowHigh(BetterNotDV), in.Geometry.LimitFlowHigh(KeepOutDV)}
		a.c.Limits = &l
	}
	judged := false
	if flowTrouble == "" {
		if judged = a.byFlow(); !judged {
			a.unknown("no depth, speed or flow statistics for this gauge, so flow cannot be judged")
		}
	} else if !in.StageOnly {
		a.unknown(flowTrouble)
	}
	if stageTrouble == "" {
		judged = a.byStage() || judged
	} else if in.StageOnly {
		a.unknown(stageTrouble)
	}
	if flowTrouble == "" || stageTrouble == "" {
		a.byRise()
	}
	if in.FloodWarning != "" {
		a.add("flood.warning", KeepOut, func(Units) string { return "warning in force: " + in.FloodWarning })
	}
	if in.Regulated {
		a.add("regulated", Care, func(Units) string {
			t := "an upstream dam can raise the water at any time without warning, before any gauge shows it"
			if in.RegulatedBy != "" {
				t += " (" + in.RegulatedBy + ")"
			}
			return t
		})
	}
	a.byWater()
	a.byThunder()

	slices.SortStableFunc(a.c.Reasons, func(x, y Reason) int { return int(y.Level) - int(x.Level) })
	for _, r := range a.c.Reasons {
		a.c.Level = max(a.c.Level, r.Level)
	}
	a.c.Known = judged || a.c.Level == KeepOut
	if in.Flow.stale() {
		a.byLastFlow()
	}
	return a.c
}

// byLastFlow lets a flow that is too old to be believed still raise the level,
// never lower it and never make it known.
func (a *assessment) byLastFlow() {
	then := &assessment{in: a.in}
	then.byFlow()
	worst := Quiet
	for _, r := range then.c.Reasons {
		worst = max(worst, r.Level)
	}
	if worst > a.c.Level {
		a.c.Level = worst
		a.add("level.stale", worst, func(u Units) string {
			return fmt.Sprintf("the last flow reading, %s, would mean level %d (%s)", u.Flow(a.in.Flow.Value), worst, worst.Words())
		})
		slices.SortStableFunc(a.c.Reasons, func(x, y Reason) int { return int(y.Level) - int(x.Level) })
	}
}

type assessment struct {
	in Input
	c  Caution
}

func (a *assessment) add(code string, l Level, text func(Units) string) {
	a.c.Reasons = append(a.c.Reasons, Reason{Code: code, Level: l, Text: text})
}

func (a *assessment) unknown(what string) { a.c.Unknowns = append(a.c.Unknowns, what) }

// byFlow judges the flow by the best rung of the ladder: the gauge's own
// geometry, else the percentile of the day. It says whether there was a rung.
func (a *assessment) byFlow() (judged bool) {
	in, q := a.in, a.in.Flow.Value
	if in.CeilingM3s > 0 && q > in.CeilingM3s {
		a.add("ceiling.wading", BetterNot, func(u Units) string {
			return fmt.Sprintf("gauge staff have no record of wading at a flow this high: the highest of %d visits was %s",
				in.CeilingVisits, u.Flow(in.CeilingM3s))
		})
		judged = true
	}
	if in.Geometry != nil {
		a.byGeometry(q)
		judged = true
	}
	if in.Percentile == nil || math.IsNaN(*in.Percentile) {
		return judged
	}
	class := ClassOf(*in.Percentile)
	text := func(Units) string {
		t := fmt.Sprintf("flow %s for the date (percentile %.0f", class.Words(), *in.Percentile)
		if in.Years > 0 {
			t += fmt.Sprintf(", %d years of record", in.Years)
		}
		return t + ")"
	}
	level := Quiet
	if in.Geometry == nil {
		switch class {
		case MuchAbove:
			level = BetterNot
		case Above:
			level = Care
		}
	}
	a.add("usgs.percentile_class", level, text)
	return true
}

func (a *assessment) byGeometry(q float64) {
	g := a.in.Geometry
	low, high := g.Within()
	at := min(max(q, low), high)
	h := Hydraulics{DVM2s: g.DV(at), DVHighM2s: g.DVHigh(at), DepthM: g.Depth.At(at), VelocityMS: g.Velocity.At(at)}
	level := FlowLevel(h, false)
	e := Estimate{Hydraulics: h, Basis: g.basis(), Printed: q >= low && q <= high}
	a.c.Estimate = &e
	switch {
	case q > high:
		// Higher than anything measured: the level at the top is a floor, and
		// never less than 2. It must not come out as not known.
		a.add("level.outside_fit", max(level, BetterNot), func(u Units) string {
			return fmt.Sprintf("flow is above anything measured here (highest %s): depth × speed is at least %s", u.Flow(g.MaxFlow), u.DV(h.DVHighM2s))
		})
	case q < low:
		a.add("level.outside_fit", level, func(u Units) string {
			return fmt.Sprintf("flow is below anything measured here (lowest %s): depth × speed is at most %s", u.Flow(g.MinFlow), u.DV(h.DVHighM2s))
		})
	default:
		code := "level.flow"
		a.add(code, level, func(u Units) string {
			t := fmt.Sprintf("at the gauge: mean depth %[3]s, mean speed %[4]s, depth × speed %[1]s, with margin %[2]s (%[5]s). Our caution levels start at %[6]s, %[7]s and %[8]s",
				u.DV(h.DVM2s), u.DV(h.DVHighM2s), u.Length(h.DepthM), u.Speed(h.VelocityMS), e.Basis, u.DV(CareDV), u.DV(BetterNotDV), u.DV(KeepOutDV))
			if h.DVM2s >= GaugersLimit {
				t += "; gauging staff do not wade at or above " + u.DV(GaugersLimit)
			}
			return t
		})
	}
}

func (g Geometry) basis() string {
	span := ""
	if !g.From.IsZero() {
		if span = fmt.Sprintf(", %d", g.From.Year()); g.To.Year() != g.From.Year() {
			span += fmt.Sprintf("-%d", g.To.Year())
		}
	}
	if g.Scaled {
		return "scaled from one measurement" + span
	}
	return fmt.Sprintf("estimated from %d measurements%s", g.N, span)
}

// byStage judges the gauge height by the flood categories and, at a gauge without
// flow, by the fit on height.
func (a *assessment) byStage() (judged bool) {
	in, s := a.in, a.in.Stage.Value
	if low, ok := in.Flood.lowest(); ok {
		category := in.Flood.Category(s)
		// Below all categories the height says nothing about wading: rivers are
		// too strong for legs long before they flood.
		if category != "none" {
			judged = true
			a.add("nws.flood_category", KeepOut, func(u Units) string {
				return fmt.Sprintf("gauge height %s is at or above the %s stage (flood stages start at %s)", u.Length(s), category, u.Length(low))
			})
		}
	}
	if in.StageOnly && in.StageFit == nil && !judged {
		a.unknown("no depth or speed measurements for this gauge, so gauge height cannot be judged")
	}
	if in.StageOnly && in.StageFit != nil {
		f := in.StageFit
		at := min(max(s, f.MinM), f.MaxM)
		dv := f.DVHigh(at)
		level := FlowLevel(Hydraulics{DVHighM2s: dv}, false)
		if s > f.MaxM {
			level = max(level, BetterNot)
		}
		judged = true
		a.add("level.flow", level, func(u Units) string {
			return fmt.Sprintf("depth × speed %s with margin, from gauge height only (%d measurements)", u.DV(dv), f.N)
		})
	}
	return judged
}

func (a *assessment) byRise() {
	r := FindRise(a.in.History)
	if !r.Fast {
		return
	}
	level, tail := KeepOut, ""
	if !r.Confirmed {
		level, tail = Care, "; one reading only, awaiting confirmation"
	}
	a.add("rise.fast", level, func(u Units) string {
		t := "the water is rising fast:"
		if !math.IsNaN(r.StageM) {
			t += " " + u.Length(r.StageM)
		}
		if !math.IsNaN(r.FlowShare) {
			t += fmt.Sprintf(" flow %+.0f%%", 100*r.FlowShare)
		}
		return fmt.Sprintf("%s in %.1f h%s", t, r.Hours, tail)
	})
}

// modelMarginC is what a temperature that was worked out must be above the line
// to count as above it. Our own default.
const modelMarginC = 2

func (a *assessment) byWater() {
	w := a.in.Water
	if trouble := w.trouble("water temperature"); trouble != "" {
		a.add("cold.flags", Care, func(Units) string { return trouble + ": treat the water as cold" })
		return
	}
	c := w.Value
	if w.Modeled {
		c -= modelMarginC
	}
	cold := ColdOf(c)
	name := func(u Units) string {
		if w.Modeled {
			return "water (modelled) at " + u.Temperature(w.Value)
		}
		return "water at " + u.Temperature(w.Value)
	}
	switch {
	case cold.Severe:
		a.add("cold.flags", Care, func(u Units) string {
			return fmt.Sprintf("%s: a fall takes your breath within %d min and the use of your muscles within %d", name(u), ShockMinutes, MuscleMinutes)
		})
	case cold.SurvivalCut:
		a.add("cold.flags", Care, func(u Units) string { return name(u) + ": cold enough for cold shock if you fall in" })
	case cold.Cold:
		a.add("cold.flags", Quiet, func(u Units) string { return name(u) + ": cold water" })
	}
}

// Chances of thunder from which the level rises. Our own default.
const (
	thunderCare      = 0.3
	thunderBetterNot = 0.66
)

func (a *assessment) byThunder() {
	if a.in.Thunder == nil || math.IsNaN(*a.in.Thunder) {
		a.unknown("chance of thunder. If you hear thunder, put the rod down, leave the water and the bank, and wait 30 minutes after the last")
		return
	}
	p := *a.in.Thunder
	level := Quiet
	switch {
	case p > thunderBetterNot:
		level = BetterNot
	case p >= thunderCare:
		level = Care
	case p < 0.1:
		return
	}
	a.add("thunder.chance", level, func(Units) string {
		return fmt.Sprintf("chance of thunder %.0f%%. If you hear thunder, put the rod down, leave the water and the bank, and wait 30 minutes after the last", 100*p)
	})
}
