package wading

import (
	"slices"
	"strings"
	"testing"
	"time"
)

func TestAFurtherSensorOnlyAddsCaution(t *testing.T) {
	upper := func(change func(*Input)) func(*Input) {
		return func(i *Input) {
			b := Beside{Gauge: "upper", Input: i.clone()}
			b.Geometry, b.Season, b.Flood = nil, nil, NoFlood // nothing was measured there
			change(&b.Input)
			i.Beside = append(i.Beside, b)
		}
	}
	twin := func(change func(*Input)) func(*Input) {
		return func(i *Input) {
			b := Beside{Input: i.clone()}
			change(&b.Input)
			i.Beside = append(i.Beside, b)
		}
	}
	for _, c := range []struct {
		what    string
		change  func(*Input)
		level   Level
		known   bool
		doubted bool
		until   time.Duration // from noon
		says    string
	}{
		{"none", func(*Input) {}, Quiet, true, false, 100 * time.Minute, "0.2 times"},
		{"a quiet gauge upstream where nothing was measured", upper(func(*Input) {}), Quiet, true, false, 100 * time.Minute, ""},
		{"a common flow upstream", upper(func(i *Input) { i.Season = []float64{4, 5, 5, 6, 7} }), Quiet, true, false, 100 * time.Minute, ""},
		{"a rare flow upstream", upper(func(i *Input) { i.Season = []float64{1, 1, 1, 1, 1} }), BetterNot, true, false, 100 * time.Minute, "gauge upper: flow much above normal"},
		{"an older reading upstream", upper(func(i *Input) { i.Flow.Age = time.Hour; i.steady(5) }), Quiet, true, false, time.Hour, ""},
		{"a rise upstream", upper(func(i *Input) { i.flows(5, 12) }), KeepOut, true, false, 100 * time.Minute, "gauge upper: the water is rising"},
		{"silence upstream", upper(func(i *Input) { i.Flow.Age = 3 * time.Hour; i.steady(5) }), Quiet, false, false, 0, "gauge upper: the last flow reading is"},
		{"silence upstream since a rise", upper(func(i *Input) { i.Flow.Age, i.Stage.Age = 3*time.Hour, 3*time.Hour; i.flows(5, 12) }), KeepOut, false, false, 0, "at least: gauge upper: the water is rising"},
		{"silence upstream while the river's own gauge is in high water", func(i *Input) {
			i.steady(40)
			upper(func(i *Input) { i.Flow.Age, i.Stage.Age = 3*time.Hour, 3*time.Hour; i.steady(5) })(i)
		}, KeepOut, true, false, 100 * time.Minute, "gauge upper: the last flow reading is"},
		{"ice upstream", upper(func(i *Input) { i.Flow.Doubt = "ice" }), Quiet, false, true, 0, "gauge upper: the flow reading cannot be trusted (ice)"},
		{"heights alone upstream", upper(func(i *Input) { i.StageOnly, i.Flow, i.FlowPast = true, Reading{}, nil }), Quiet, true, false, 100 * time.Minute, ""},
		{"too little history upstream", upper(func(i *Input) { i.FlowPast = i.FlowPast[len(i.FlowPast)-20:] }), Quiet, false, true, 0, "gauge upper: only 19 h"},
		{"a second sensor that says the same", twin(func(*Input) {}), Quiet, true, false, 100 * time.Minute, ""},
		{"a second sensor in high water", twin(func(i *Input) { i.steady(40) }), KeepOut, true, false, 100 * time.Minute, "1.5 times our keep-out line"},
		{"a second sensor where nothing ties the flow to danger", twin(func(i *Input) { i.Geometry, i.Season = nil, nil }), Quiet, false, false, 0, "cannot be judged"},
	} {
		t.Run(c.what, func(t *testing.T) {
			in := calm(t)
			c.change(&in)
			got := Assess(in)
			text := got.Format(Metric)
			if got.Level != c.level || got.Known != c.known || got.Doubted != c.doubted || got.Until.Sub(noon) != c.until {
				t.Errorf("level %d, known %t, doubted %t, until %v; want %d, %t, %t, %v:\n%s", got.Level, got.Known, got.Doubted, got.Until.Sub(noon), c.level, c.known, c.doubted, c.until, text)
			}
			if !strings.Contains(text, c.says) {
				t.Errorf("%q is not said:\n%s", c.says, text)
			}
			lines := strings.Split(strings.TrimSpace(text), "\n")
			slices.Sort(lines)
			if n := len(lines); len(slices.Compact(lines)) != n {
				t.Errorf("something is said twice:\n%s", text)
			}
		})
	}
}
