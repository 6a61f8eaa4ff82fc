package degreeday

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// shared reads a file of the check data beside the repository, or skips.
func shared(t testing.TB, name string) []byte {
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
	b, err := os.ReadFile(filepath.Join(dir, "checks", "degree-days", name))
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("check data missing: %v", err)
		}
		t.Skipf("check data missing: %v", err)
	}
	return b
}

type row map[string]string

func (r row) num(t testing.TB, col string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[col], 64)
	if err != nil {
		t.Fatalf("column %s: %v", col, err)
	}
	return v
}

func table(t testing.TB, name string) []row {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(shared(t, name))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []row
	for _, r := range rows[1:] {
		m := row{}
		for i, h := range rows[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

// columns are the twelve pairs of the tables.
var columns = map[string]struct {
	m Method
	c Cutoff
}{
	"sngsine_horiz": {SingleSine, Horizontal}, "sngsine_vert": {SingleSine, Vertical}, "sngsine_intrmd": {SingleSine, Intermediate},
	"dblsine_horiz": {DoubleSine, Horizontal}, "dblsine_vert": {DoubleSine, Vertical}, "dblsine_intrmd": {DoubleSine, Intermediate},
	"sngtri_horiz": {SingleTriangle, Horizontal}, "sngtri_vert": {SingleTriangle, Vertical}, "sngtri_intrmd": {SingleTriangle, Intermediate},
	"dbltri_horiz": {DoubleTriangle, Horizontal}, "dbltri_vert": {DoubleTriangle, Vertical}, "dbltri_intrmd": {DoubleTriangle, Intermediate},
}

// UC IPM web calculator output of 2 Aug 2022 for Esparto (California) 2020,
// 50/70 °F, printed to two decimals (UCANR-IGIS/degree-day-challenge, MIT).
// The service's arcsine is a polynomial: 0.0051 is the tightest that holds.
func TestUCIPMCalculatorEsparto2020(t *testing.T) {
	testYear(t, "ucipm-esparto-2020-50-70f.csv", 0.0051)
}

// The same temperatures by an independent closed-form implementation.
func TestEsparto2020ToEightDecimals(t *testing.T) {
	testYear(t, "esparto-2020-50-70f-exact.csv", 1e-8)
}

func testYear(t *testing.T, file string, tol float64) {
	rows := table(t, file)
	tmin, tmax := make([]float64, len(rows)), make([]float64, len(rows))
	for i, r := range rows {
		tmin[i], tmax[i] = r.num(t, "tmin_f"), r.num(t, "tmax_f")
	}
	n, worst := 0, 0.0
	for col, mc := range columns {
		rule := Rule{Method: mc.m, Cutoff: mc.c, Lower: 50, Upper: 70, Unit: Fahrenheit}
		got, err := rule.Days(tmin, tmax)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range rows {
			off := math.Abs(got[i] - r.num(t, col))
			worst = math.Max(worst, off)
			n++
			if !(off <= tol) {
				t.Errorf("%s %s: %.8f, want %s", r["date"], col, got[i], r[col])
			}
		}
	}
	t.Logf("%d values, worst difference %.6f", n, worst)
}

// Zalom et al. 1983, UC Leaflet 21373, table 7, 55/90 °F, as printed. One value
// is a misprint (double triangle, 60/100/75: printed 24.88, the leaflet's own
// formula gives 27.125).
func TestZalom1983Table7(t *testing.T) {
	n := 0
	for _, r := range table(t, "zalom1983-table7.csv") {
		for col, m := range map[string]Method{
			"single_triangle": SingleTriangle, "double_triangle": DoubleTriangle, "single_sine": SingleSine, "double_sine": DoubleSine,
		} {
			rule := Rule{Method: m, Lower: r.num(t, "lower_f"), Upper: r.num(t, "upper_f"), Unit: Fahrenheit}
			got := rule.Day(r.num(t, "tmin_f"), r.num(t, "tmax_f"), r.num(t, "tmin_next_f"))
			if math.Abs(got-r.num(t, col+"_exact")) > 1e-6 {
				t.Errorf("case %s %s: %.6f, want %s", r["case"], col, got, r[col+"_exact"])
			}
			n++
			if r[col+"_printed"] == "24.88" {
				continue
			}
			if math.Abs(got-r.num(t, col+"_printed")) > 0.0051 {
				t.Errorf("case %s %s: %.4f, printed %s", r["case"], col, got, r[col+"_printed"])
			}
		}
	}
	if n != 48 {
		t.Errorf("%d values, want 48", n)
	}
}

// McMaster and Wilhelm 1997, Agric. For. Meteorol. 87, 291-300, table 1.
func TestMcMasterWilhelm1997Table1(t *testing.T) {
	for _, r := range table(t, "mcmaster-wilhelm1997-table1.csv") {
		for col, m := range map[string]Method{"gdd_method1": AverageClampMean, "gdd_method2": AverageClipBoth} {
			rule := Rule{Method: m, Lower: r.num(t, "base_c"), Upper: math.Inf(1)}
			if got := rule.Day(r.num(t, "tmin_c"), r.num(t, "tmax_c"), math.NaN()); got != r.num(t, col) {
				t.Errorf("%s/%s %s: %g, want %s", r["tmin_c"], r["tmax_c"], col, got, r[col])
			}
		}
	}
}

// Every boundary case; closed forms that agree with quadrature to 7e-15.
func TestBoundaryCases(t *testing.T) {
	n := 0
	for _, r := range table(t, "cases-exact.csv") {
		lower, upper := r.num(t, "lower"), r.num(t, "upper")
		lo, hi, next := r.num(t, "tmin"), r.num(t, "tmax"), r.num(t, "tmin_next")
		for col, m := range map[string]Method{
			"avg_no_upper": AverageMean, "avg_mean_clamped": AverageClampMean, "avg_clip_lower_only": AverageClipLower, "avg_clip_both": AverageClipBoth,
		} {
			n++
			if got := (Rule{Method: m, Lower: lower, Upper: upper}).Day(lo, hi, next); math.Abs(got-r.num(t, col)) > 1e-6 {
				t.Errorf("%g/%g %s: %g, want %s", lo, hi, col, got, r[col])
			}
		}
		for col, mc := range columns {
			n++
			got := (Rule{Method: mc.m, Cutoff: mc.c, Lower: lower, Upper: upper}).Day(lo, hi, next)
			if math.Abs(got-r.num(t, col)) > 1e-9 {
				t.Errorf("%g/%g/%g %s: %.10f, want %s", lo, hi, next, col, got, r[col])
			}
		}
	}
	t.Logf("%d values", n)
}

// A lookup table of the usual kind; own closed form, not copied.
func TestLookupTableSingleSine5088(t *testing.T) {
	rule := Rule{Method: SingleSine, Lower: 50, Upper: 88, Unit: Fahrenheit}
	for _, r := range table(t, "lookup-single-sine-50-88f-exact.csv") {
		for col, v := range r {
			if col == "tmax_f" || v == "" {
				continue
			}
			lo, err := strconv.ParseFloat(col[len("tmin_"):], 64)
			if err != nil {
				t.Fatal(err)
			}
			if got := rule.Day(lo, r.num(t, "tmax_f"), math.NaN()); math.Abs(got-r.num(t, col)) > 0.005001 {
				t.Errorf("%g/%s: %.4f, want %s", lo, r["tmax_f"], got, v)
			}
		}
	}
}

// Examples of extension services (each row names its page), of the degday
// README and of the Huber rule.
func TestWorkedExamples(t *testing.T) {
	var f struct {
		Averages struct{ Rows [][]any }      `json:"averaging_examples_fahrenheit"`
		ReadMe   struct{ Rows [][]any }      `json:"degday_readme_55_93.9f"`
		Huber    struct{ Rows [][6]float64 } `json:"huber_fahrenheit"`
	}
	if err := json.Unmarshal(shared(t, "worked-examples.json"), &f); err != nil {
		t.Fatal(err)
	}
	methods := map[string]Method{
		"mean - base": AverageMean, "mean - base, negative set to 0": AverageMean,
		"tmin raised to base, then mean - base": AverageClipLower, "tmin raised to base; negative set to 0": AverageClipLower,
		"clip both (86/50)": AverageClipBoth,
	}
	for _, r := range f.Averages.Rows {
		m, ok := methods[r[5].(string)]
		if !ok {
			t.Fatalf("unknown rule %q", r[5])
		}
		upper := math.Inf(1)
		if u, ok := r[4].(float64); ok {
			upper = u
		}
		got := Rule{Method: m, Lower: r[3].(float64), Upper: upper, Unit: Fahrenheit}.Day(r[1].(float64), r[2].(float64), math.NaN())
		if math.Abs(got-r[6].(float64)) > 1e-9 {
			t.Errorf("%v: %g", r, got)
		}
	}
	for _, r := range f.ReadMe.Rows {
		for i, m := range []Method{SingleTriangle, SingleSine, DoubleTriangle, DoubleSine} {
			got := Rule{Method: m, Lower: 55, Upper: 93.9, Unit: Fahrenheit}.Day(r[1].(float64), r[2].(float64), r[3].(float64))
			if math.Abs(got-r[4+i].(float64)) > 0.0051 {
				t.Errorf("%v %v: %.4f", r[0], m, got)
			}
		}
	}
	for _, r := range f.Huber.Rows {
		got := Rule{Method: Huber, Lower: r[2], Upper: r[3], Unit: Fahrenheit}.Day(r[0], r[1], math.NaN())
		plain := Rule{Method: SingleSine, Lower: r[2], Upper: r[3], Unit: Fahrenheit}.Day(r[0], r[1], math.NaN())
		if math.Abs(got-r[4]) > 1e-6 || math.Abs(plain-r[5]) > 1e-6 {
			t.Errorf("%v: huber %.8f, sine %.8f", r, got, plain)
		}
	}
	if len(f.Averages.Rows) != 11 || len(f.ReadMe.Rows) != 6 || len(f.Huber.Rows) != 7 {
		t.Errorf("read %d, %d and %d rows", len(f.Averages.Rows), len(f.ReadMe.Rows), len(f.Huber.Rows))
	}
}
