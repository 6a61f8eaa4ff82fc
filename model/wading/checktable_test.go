package wading

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// rows reads the table of check values beside the repository, or skips.
func rows(t testing.TB) [][]string {
	t.Helper()
	dir := os.Getenv("ECLOSE_SHARED")
	if dir == "" {
		root, err := filepath.Abs(".")
		if err != nil {
			t.Fatal(err)
		}
		for {
			if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
				break
			}
			up := filepath.Dir(root)
			if up == root {
				t.Fatal("no go.mod above the test")
			}
			root = up
		}
		dir = filepath.Join(root, "..", "shared")
	}
	f, err := os.Open(filepath.Join(dir, "checks", "wading-safety.csv"))
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("check data missing: %v", err)
		}
		t.Skipf("check data missing: %v", err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

// fields are the key=value pairs of a cell.
type fields map[string]string

func parse(cell string) fields {
	out := fields{}
	for p := range strings.SplitSeq(cell, ";") {
		k, v, _ := strings.Cut(p, "=")
		out[strings.TrimSuffix(k, "<")] = v // "shock_min<=1"
	}
	return out
}

func (f fields) num(key string) float64 {
	v, err := strconv.ParseFloat(f[key], 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func (f fields) list(key string) []float64 {
	var out []float64
	for s := range strings.SplitSeq(f[key], "|") {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			panic(fmt.Sprintf("%s: %v", key, err))
		}
		out = append(out, v)
	}
	return out
}

// near compares with half a unit of the last printed digit.
func near(got float64, printed string) bool {
	want, err := strconv.ParseFloat(printed, 64)
	if err != nil {
		return false
	}
	_, decimals, _ := strings.Cut(printed, ".")
	return math.Abs(got-want) <= 0.5001*math.Pow(10, -float64(len(decimals)))
}

// what the package says for a row: text as it stands, numbers as float64.
type answers map[string]any

// checks compute every expected value of a rule from its inputs.
var checks = map[string]func(t *testing.T, in, want fields) answers{
	"unit.m2s_to_ft2s": func(_ *testing.T, in, _ fields) answers { return answers{"dv_ft2s": in.num("dv_m2s") / foot2M2} },
	"unit.ft2s_to_m2s": func(_ *testing.T, in, _ fields) answers { return answers{"dv_m2s": in.num("dv_ft2s") * foot2M2} },
	"unit.F_to_C":      func(_ *testing.T, in, _ fields) answers { return answers{"C": FtoC(in.num("F"))} },
	"qw.identity": func(t *testing.T, in, _ fields) answers {
		m := Measurement{
			FlowM3s: in.num("flow_cfs") * Foot3M3, WidthM: in.num("width_ft") * FootM, AreaM2: in.num("area_ft2") * foot2M2,
			VelocityMS: in.num("velocity_fps") * FootM, Wading: in["measurement_type"] == "Wading",
		}
		if !m.Usable() {
			t.Error("not usable")
		}
		push, qw := m.MeanDepthM()*m.VelocityMS, m.FlowM3s/m.WidthM
		return answers{
			"mean_depth_ft": m.MeanDepthM() / FootM, "dv_ft2s": push / foot2M2, "q_over_w": qw / foot2M2,
			"rel_gap": math.Abs(push-qw) / qw,
		}
	},
	"fit.width": func(_ *testing.T, in, _ fields) answers {
		p := fitPower(in.list("Q_cfs"), in.list("W_ft"))
		return answers{"a": p.Coef, "b": p.Exp, "s": p.S}
	},
	"fit.limit_flow": func(_ *testing.T, in, _ fields) answers {
		return answers{"limit_flow_cfs": geometry(in).LimitFlow(in.num("dv_ft2s"))}
	},
	"fit.dv": func(_ *testing.T, in, _ fields) answers {
		g := geometry(in)
		return answers{"dv_ft2s": g.DV(in.num("flow_cfs")), "dv_hi_ft2s": g.DVHigh(in.num("flow_cfs"))}
	},
	"fit.limit_flow_metric": func(_ *testing.T, in, _ fields) answers {
		q := geometry(in).LimitFlow(in.num("dv_m2s"))
		return answers{"limit_flow_m3s": q, "limit_flow_cfs": q / Foot3M3}
	},
	// The 275 measurements themselves are not among the check data. What can be
	// checked of the printed coefficients is that they keep the continuity of
	// the section: exponents add to one, coefficients multiply to one.
	"fit.published_ols": func(t *testing.T, _, want fields) answers {
		out := answers{}
		for k, v := range want {
			out[k] = want.num(k)
			if v == "" {
				t.Errorf("%s is empty", k)
			}
		}
		out["sum"] = want.num("b") + want.num("f") + want.num("m")
		out["product"] = want.num("a") * want.num("c") * want.num("k")
		g := Geometry{Width: Power{want.num("a"), want.num("b"), 0}, Depth: Power{want.num("c"), want.num("f"), 0}, Velocity: Power{want.num("k"), want.num("m"), 0}}
		for _, q := range []float64{3, 10, 30, 100} {
			if r := g.Depth.At(q) * g.Velocity.At(q) / g.DV(q); math.Abs(r-1) > 0.01 {
				t.Errorf("at %g m3/s depth x velocity is %.4f of flow over width", q, r)
			}
		}
		return out
	},
	// Likewise: the counts are those of the source; here only that they fit the
	// sizes of the samples and that the margin errs to the careful side.
	"fit.holdout": func(t *testing.T, in, want fields) answers {
		if n := want.num("tp") + want.num("fn") + want.num("fp") + want.num("tn"); n != 138 {
			t.Errorf("%g cases, want 138", n)
		}
		if p := want.num("tp") + want.num("fn"); p != 35 {
			t.Errorf("%g cases over the limit, want 35", p)
		}
		g := Geometry{Width: Power{28.01754, 0.05757753, 0.1609198}}
		plain, high := g.LimitFlow(GaugersLimit), g.LimitFlowHigh(GaugersLimit)
		if high >= plain {
			t.Errorf("the margin moves the limit from %g up to %g m3/s", plain, high)
		}
		if strings.HasPrefix(in["margin"], "exp") && want.num("fn") > 0 {
			t.Error("the margin leaves missed cases")
		}
		out := answers{}
		for k := range want {
			out[k] = want.num(k)
		}
		return out
	},
	"usgs.rule_of_10": func(_ *testing.T, in, _ fields) answers {
		push := in.num("depth_ft") * FootM * in.num("velocity_fps") * FootM
		result := "below_limit"
		if flowLevel(Hydraulics{DVM2s: push, DVHighM2s: math.NaN()}) == KeepOut {
			result = "do_not_wade"
		}
		return answers{"dv_ft2s": push / foot2M2, "dv_m2s": push, "result": result}
	},
	"scale.leopold_maddock": func(t *testing.T, in, _ fields) answers {
		q0, d0, v0 := in.num("Q0_cfs")*Foot3M3, in.num("d0_ft")*FootM, in.num("v0_fps")*FootM
		area := q0 / v0
		g, err := Scale([]Measurement{{ID: "x", FlowM3s: q0, WidthM: area / d0, AreaM2: area, VelocityMS: v0}})
		if err != nil {
			t.Fatal(err)
		}
		q := in.num("Q_cfs") * Foot3M3
		return answers{"depth_ft": g.Depth.At(q) / FootM, "velocity_fps": g.Velocity.At(q) / FootM, "dv_ft2s": g.DV(q) / foot2M2}
	},
	"level.flow": func(t *testing.T, in, _ fields) answers {
		if in["stage_action"] == "true" {
			x := calm(t)
			x.Flood.ActionM = x.Stage.Value
			return answers{"level": float64(Assess(x).Level)}
		}
		h := Hydraulics{DVM2s: math.NaN(), DVHighM2s: in.num("dvhi"), DepthM: in.num("d"), VelocityMS: in.num("v")}
		return answers{"level": float64(flowLevel(h))}
	},
	"level.stale": func(t *testing.T, in, _ fields) answers {
		x := calm(t)
		x.Flow.Age = time.Duration(in.num("reading_age_h") * float64(time.Hour))
		if c := Assess(x); c.Known {
			return answers{"level": float64(c.Level)}
		}
		return answers{"level": "unknown"}
	},
	"level.outside_fit": func(t *testing.T, in, _ fields) answers {
		// The row is in ft and ft3/s; the coefficient carries the unit:
		// W[m] = a[ft] footM (Q[m3/s]/Foot3M3)^b.
		b := in.num("b")
		x := calm(t)
		x.Geometry = &Geometry{
			Width: Power{in.num("a") * FootM / math.Pow(Foot3M3, b), b, 0}, Depth: Power{0.2, 0.48, 0}, Velocity: Power{0.22, 0.41, 0},
			N: 12, MinFlow: 43.8 * Foot3M3, MaxFlow: in.num("fit_max_cfs") * Foot3M3,
		}
		x.steady(in.num("Q_cfs") * Foot3M3)
		c := Assess(x)
		printed := "none"
		if c.Estimate.Printed {
			printed = "yes"
		}
		return answers{"dv_printed": printed, "dv_floor_ft2s": c.Estimate.DVHighM2s / foot2M2, "level": float64(c.Level)}
	},
	"fish.yellowstone":  line(YellowstoneLineC),
	"fish.new_york_dec": line(NewYorkLineC),
	"fish.colorado_cpw": line(ColoradoLineC),
	"scale.exponent_sum": func(t *testing.T, in, _ fields) answers {
		if in.num("b") != meanWidthExp || in.num("f") != meanDepthExp || in.num("m") != meanVelocityExp {
			t.Error("other exponents")
		}
		return answers{"sum": meanWidthExp + meanDepthExp + meanVelocityExp, "dv_exponent": 1 - meanWidthExp}
	},
	"rise.fast": func(_ *testing.T, in, _ fields) answers {
		return answers{"fast_rise": fmt.Sprint(fastRise(in.num("dt_h"), in.num("dstage_ft")*FootM, in.num("dQ_pct")/100))}
	},
	"usgs.percentile_class": func(_ *testing.T, in, _ fields) answers {
		return answers{"cls": string(classOf(in.num("percentile")))}
	},
	"nws.flood_category": func(_ *testing.T, in, _ fields) answers {
		f := Flood{ActionM: in.num("action") * FootM, MinorM: in.num("minor") * FootM, ModerateM: in.num("moderate") * FootM, MajorM: in.num("major") * FootM}
		return answers{"category": f.Category(in.num("stage_ft") * FootM)}
	},
	"cold.flags": func(_ *testing.T, in, _ fields) answers {
		c := coldOf(FtoC(in.num("water_F")))
		return answers{"nws_cold_le_70": fmt.Sprint(c.Cold), "nws_survival_lt_60": fmt.Sprint(c.SurvivalCut)}
	},
	"fish.level": func(_ *testing.T, in, _ fields) answers {
		return answers{"level": string(AdviceFor(FtoC(in.num("water_F"))))}
	},
}

// line is the temperature of an authority that the forecast's warm days name.
func line(c float64) func(*testing.T, fields, fields) answers {
	return func(_ *testing.T, in, _ fields) answers {
		return answers{"limit_F": CtoF(c), "stress_or_closure_line_crossed": fmt.Sprint(FtoC(in.num("water_F")) > c)}
	}
}

// notUsed are the rules of the table of which the program makes no use: trials of
// people's footing, hazard classes, closing rules that only an agency applies.
var notUsed = []string{
	"arr.", "children.", "karvonen.", "abt.", "defra.", "rdb.", "ogc.", "regional.", "thalweg.", "release.", "hysteresis.",
	"cold.rnli", "cold.timeline", "cold.1_10_1", "lightning.", "fish.montana", "fish.low_flow",
}

func unused(rule string, in fields) bool {
	_, oxygen := in["dissolved_oxygen_ppm"]
	return oxygen || slices.ContainsFunc(notUsed, func(p string) bool { return strings.HasPrefix(rule, p) })
}

// geometry is a width fit in the units of the row.
func geometry(in fields) Geometry {
	s := in.num("s")
	if math.IsNaN(s) {
		s = 0
	}
	return Geometry{Width: Power{in.num("a"), in.num("b"), s}}
}

// provenanceOf says how the source of a row was seen, in the words of the package.
func provenanceOf(cell string) Provenance {
	switch {
	case strings.HasPrefix(cell, "READ (secondary copy)"):
		return SecondHand
	case strings.HasPrefix(cell, "READ"):
		return Read
	case strings.HasPrefix(cell, "MEMORY"):
		return FromMemory
	}
	return Default
}

// rank orders provenances, best first.
var rank = map[Provenance]int{Read: 0, SecondHand: 1, FromMemory: 2, Default: 3}

func TestAllRowsOfTheCheckTable(t *testing.T) {
	n := map[Provenance]int{}
	total := 0
	for i, r := range rows(t) {
		rule, in, want, source, how := r[0], parse(r[1]), parse(r[2]), r[3], provenanceOf(r[4])
		total++
		if unused(rule, in) {
			continue
		}
		n[how]++
		t.Run(fmt.Sprintf("row %d %s", i+2, rule), func(t *testing.T) {
			check, ok := checks[rule]
			if !ok {
				t.Fatalf("no check for the rule; its source is %s (%s)", source, how)
			}
			if b, ok := bases[rule]; !ok || b.Source == "" || b.Provenance == "" {
				t.Errorf("the package does not name the source of %s", rule)
			}
			got := check(t, in, want)
			for k, w := range want {
				g, ok := got[k]
				if !ok {
					t.Errorf("%s: nothing computed, want %s; source %s (%s)", k, w, source, how)
					continue
				}
				good := false
				if f, isNumber := g.(float64); isNumber {
					good = near(f, w)
				} else {
					good = g == w
				}
				if !good {
					t.Errorf("%s: %v, want %s; source %s (%s)", k, g, w, source, how)
				}
			}
			t.Logf("%s: %s", how, source)
		})
	}
	if total != 163 {
		t.Errorf("%d rows, want 163", total)
	}
	if used := n[Read] + n[SecondHand] + n[FromMemory] + n[Default]; used != 88 {
		t.Errorf("%d rows are checked, want 88", used)
	}
	t.Logf("%d rows: %v", total, n)
}

// A rule whose rows rest on memory or on our own default must not be given out
// as read, unless other rows of the same rule were read (then the source text
// says which part was not).
func TestNoRuleClaimsMoreThanItsRowsDo(t *testing.T) {
	best := map[string]Provenance{}
	mixed := map[string]bool{}
	for _, r := range rows(t) {
		s := provenanceOf(r[4])
		if old, ok := best[r[0]]; ok && old != s {
			mixed[r[0]] = true
		}
		if old, ok := best[r[0]]; !ok || rank[s] < rank[old] {
			best[r[0]] = s
		}
	}
	for rule, s := range best {
		if unused(rule, nil) {
			continue
		}
		b := bases[rule]
		if rank[b.Provenance] < rank[s] {
			t.Errorf("%s claims %q, its best row is %q", rule, b.Provenance, s)
		}
		if mixed[rule] && !strings.Contains(b.Source, "memory") && !strings.Contains(b.Source, "by us") && !strings.Contains(b.Source, "second-hand") {
			t.Errorf("%s has rows of several standings; its source text must say so: %q", rule, b.Source)
		}
	}
}
