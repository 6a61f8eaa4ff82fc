package engine

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

const systemPython = "/usr/bin/python3"

// finite is nil for an infinite value, which JSON has no word for.
func finite(v float64) *float64 {
	if math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func writeRiver(t testing.TB, dir string, in *River) {
	t.Helper()
	type group struct {
		Base    float64  `json:"base"`
		Upper   *float64 `json:"upper"`
		Start   int      `json:"start"`
		GateMin *float64 `json:"gate_min"`
		GateMax *float64 `json:"gate_max"`
		LagMin  int      `json:"lag_min"`
		LagMax  int      `json:"lag_max"`
		Least   int      `json:"least"`
	}
	var groups []group
	var draws []float64
	for _, g := range in.Groups {
		groups = append(groups, group{g.Clock.BaseC, finite(g.Clock.UpperC), g.Clock.Start, finite(g.Gate.MinC), finite(g.Gate.MaxC), g.LagMin, g.LagMax, max(1, g.Least)})
		for _, v := range [][]float64{g.DD50, g.Calendar, g.Weight, g.SpreadDays, g.Rate, g.RateEggs} {
			draws = append(draws, v...)
		}
	}
	spec, err := json.Marshal(map[string]any{"members": in.Members, "days": in.Days, "groups": groups})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "river.json"), spec, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string]any{"temp.f32": in.TempC, "draws.f64": draws} {
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := binary.Write(f, binary.LittleEndian, data); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func readResult(t testing.TB, path string, in *River) []GroupResult {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	v := make([]float64, len(b)/8)
	for i := range v {
		v[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
	}
	out := make([]GroupResult, len(in.Groups))
	for k := range out {
		for s := range out[k] {
			out[k][s].P, v = v[:in.Days], v[in.Days:]
			out[k][s].PCalendar, v = v[:in.Days], v[in.Days:]
			for _, w := range []*Window{&out[k][s].Window, &out[k][s].WindowCalendar} {
				i := func(n int) int { return int(v[n]) }
				*w = Window{Range{i(0), i(1), i(2)}, Range{i(3), i(4), i(5)}, Range{i(6), i(7), i(8)}, i(9)}
				v = v[10:]
			}
		}
	}
	return out
}

// numpy runs the script and gives its processor seconds per river, plain and
// trimmed, after checking its results against ours.
func numpy(t testing.TB, in *River, repeats int) (plain, trimmed float64) {
	t.Helper()
	if err := exec.Command(systemPython, "-c", "import numpy, scipy").Run(); err != nil {
		t.Skipf("%s has no numpy and scipy: %v", systemPython, err)
	}
	dir := t.TempDir()
	writeRiver(t, dir, in)
	b, err := exec.Command(systemPython, "testdata/engine.py", dir, strconv.Itoa(repeats)).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	var times struct{ Plain, Trimmed float64 }
	if err := json.Unmarshal(b, &times); err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	var e Engine
	var out Result
	if err := e.Forecast(in, &out); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"plain.f64", "trimmed.f64"} {
		near(t, out.Groups, readResult(t, filepath.Join(dir, name), in), 1e-9)
	}
	return times.Plain, times.Trimmed
}

// near compares chances to a tolerance, and windows to the day but for members
// whose share lies within rounding of a limit: at most one day of difference in
// at most one in a hundred limits.
func near(t testing.TB, got, want []GroupResult, tol float64) {
	t.Helper()
	limits, off := 0, 0
	for k := range want {
		for s := range want[k] {
			g, w := got[k][s], want[k][s]
			for d := range w.P {
				if !(math.Abs(g.P[d]-w.P[d]) <= tol) || !(math.Abs(g.PCalendar[d]-w.PCalendar[d]) <= tol) {
					t.Fatalf("group %d, stage %d, day %d: %v and %v, want %v and %v", k, s, d, g.P[d], g.PCalendar[d], w.P[d], w.PCalendar[d])
				}
			}
			for i, a := range flat(g.Window, g.WindowCalendar) {
				b := flat(w.Window, w.WindowCalendar)[i]
				limits++
				if a != b {
					off++
				}
				if a-b > 1 || b-a > 1 {
					t.Errorf("group %d, stage %d: windows %+v, want %+v", k, s, g.Window, w.Window)
				}
			}
		}
	}
	if off*100 > limits {
		t.Errorf("%d of %d limits of windows differ", off, limits)
	}
}

func flat(windows ...Window) (out []int) {
	for _, w := range windows {
		for _, r := range []Range{w.Start, w.Peak, w.End} {
			out = append(out, r.P10, r.P50, r.P90)
		}
		out = append(out, w.Seen)
	}
	return out
}

func TestAgainstNumPy(t *testing.T) {
	in := invent(3, 50, 240, 14, 120)
	in.Groups[3].Least = 3
	numpy(t, in, 1)
}

// BenchmarkAgainstNumPy measures both in one run, processor time of one core, on
// the same river: 200 members, 240 days, 40 groups, both stages with their
// calendar twins. "anew" makes the twins as NumPy does; "kept" has them from an
// earlier river with the same calendar draws, as in a national run.
func BenchmarkAgainstNumPy(b *testing.B) {
	in := invent(1, 200, 240, 40, 120)
	plain, trimmed := numpy(b, in, 5)
	var out Result
	for _, kept := range []bool{false, true} {
		b.Run(map[bool]string{false: "anew", true: "kept"}[kept], func(b *testing.B) {
			var e Engine
			best := math.Inf(1)
			for b.Loop() {
				if !kept {
					e.calendars = nil
				}
				start := time.Now()
				if err := e.Forecast(in, &out); err != nil {
					b.Fatal(err)
				}
				best = math.Min(best, time.Since(start).Seconds())
			}
			b.ReportMetric(1e3*plain, "numpy-ms")
			b.ReportMetric(1e3*trimmed, "numpy-trimmed-ms")
			b.ReportMetric(1e3*best, "engine-ms")
			b.ReportMetric(plain/best, "times-numpy")
			b.ReportMetric(trimmed/best, "times-trimmed")
		})
	}
}
