package wading

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
)

// Each limit of the gate, from a little inside to a little outside of it. says is
// what makes the level unknown; empty where the reading is not doubted.
func TestTheLimitsOfWhatIsBelieved(t *testing.T) {
	tail := func(n int, v float64, last ...float64) []float64 {
		return append(slices.Repeat([]float64{v}, n), last...)
	}
	// wavy are n hours about a flow, so that nothing stands still.
	wavy := func(n int, v float64) (out []float64) {
		for i := range n {
			out = append(out, v*(1+0.004*float64(i%3)))
		}
		return out
	}
	flowOnly := func(in *Input, last ...float64) {
		in.flows(last...)
		in.Stage, in.StagePast, in.Flood = Reading{}, nil, NoFlood
	}
	for _, c := range []struct {
		what string
		set  func(in *Input)
		says string
	}{
		{"a flow 119 min old", func(in *Input) { aged(&in.Flow, &in.FlowPast, 99*time.Minute) }, ""},
		{"a flow 121 min old", func(in *Input) { aged(&in.Flow, &in.FlowPast, 101*time.Minute) }, "2.0 h old"},
		{"a clock 9 min fast", func(in *Input) { aged(&in.Flow, &in.FlowPast, -29*time.Minute) }, ""},
		{"a clock 11 min fast", func(in *Input) { aged(&in.Flow, &in.FlowPast, -31*time.Minute) }, "in the future"},

		{"six days and 14 hours of readings", func(in *Input) { cut(in, 158*time.Hour) }, ""},
		{"six days and 10 hours", func(in *Input) { cut(in, 154*time.Hour) }, "too few to check"},
		{"a silence of 2.9 h", func(in *Input) { silence(in, 4*time.Hour, 174*time.Minute) }, ""},
		{"a silence of 3.1 h", func(in *Input) { silence(in, 4*time.Hour, 186*time.Minute) }, "within the last day"},
		{"a longer one that ended a day ago", func(in *Input) { silence(in, 25*time.Hour, 6*time.Hour) }, ""},
		{"one that ended 23 hours ago", func(in *Input) { silence(in, 23*time.Hour, 6*time.Hour) }, "within the last day"},

		{"a fall to a little over a quarter", func(in *Input) { flowOnly(in, 20, 12, 7.4, 5.2) }, ""},
		{"a fall to under a quarter", func(in *Input) { flowOnly(in, 20, 12, 7.4, 4.9) }, "too far"},
		{"the same five and a half hours ago", func(in *Input) { flowOnly(in, 20, 12, 8, 5.2, 5, 4.9); in.FlowPast[8*24-6].Age += 29 * time.Minute }, "too far"},
		{"the same seven hours ago", func(in *Input) { flowOnly(in, 20, 15, 9, 6, 5, 4.93, 4.92, 4.9) }, ""},
		{"a last reading at a little over half", func(in *Input) { flowOnly(in, 5, 2.55) }, ""},
		{"a last reading at under half", func(in *Input) { flowOnly(in, 5, 2.45) }, "too far"},
		{"the height down by 0.45 m", func(in *Input) { stageOnly(in, 2, 1.55) }, ""},
		{"the height down by 0.55 m", func(in *Input) { stageOnly(in, 2, 1.45) }, "too far"},

		{"a step to a nineteenth and back up in hours", func(in *Input) { flowOnly(in, append([]float64{40, 40. / 19, 3, 4.5}, wavy(9, 5)...)...) }, ""},
		{"a step to a 21st", func(in *Input) { flowOnly(in, append([]float64{40, 40. / 21, 3, 4.5}, wavy(9, 5)...)...) }, "21-fold from one reading to the next"},
		{"a step down and back", func(in *Input) { flowOnly(in, append([]float64{5, 0.1, 5}, wavy(9, 5)...)...) }, ""},
		{"a step to a 35th", func(in *Input) { flowOnly(in, append([]float64{70, 2, 3, 4.5}, wavy(9, 5)...)...) }, "mix-up of m³/s and cfs"},

		{"47 hours without change", func(in *Input) { flowOnly(in, tail(48, 5)...) }, ""},
		{"49 hours without change", func(in *Input) { flowOnly(in, tail(50, 5)...) }, "stuck"},
		{"100 hours, where 53 are on record", func(in *Input) { in.Record.StuckDays = 3; flowOnly(in, tail(101, 5)...) }, ""},
		{"150 hours, where 72 are on record", func(in *Input) { in.Record.StuckDays = 3; flowOnly(in, tail(151, 5)...) }, "stuck"},
		{"7 hours while the height moves 0.055 m", func(in *Input) { in.flows(tail(8, 5)...); drift(in.StagePast, 7, 0.055) }, "while the gauge height has"},
		{"7 hours while it moves 0.045 m", func(in *Input) { in.flows(tail(8, 5)...); drift(in.StagePast, 7, 0.045) }, ""},
		{"5 hours while it moves 0.1 m", func(in *Input) { in.flows(tail(6, 5)...); drift(in.StagePast, 5, 0.1) }, ""},
		{"the height still for 7 hours while the flow moves by 22 %", func(in *Input) { in.flows(tail(8, 5)...); drift(in.FlowPast, 7, 1.1); in.Flow.Value = 6.1 }, "height has not changed at all"},
		{"and by 18 %", func(in *Input) { in.flows(tail(8, 5)...); drift(in.FlowPast, 7, 0.9); in.Flow.Value = 5.9 }, ""},

		{"a flow 1.45 times what goes with its height", func(in *Input) {
			in.FlowPast[8*24-1].Value *= 1.45 / 1.01
			in.FlowPast[8*24-2].Value *= 1.3
			in.Flow.Value = in.FlowPast[8*24-1].Value
		}, ""},
		{"a flow 1.6 times what goes with its height", func(in *Input) {
			in.FlowPast[8*24-1].Value *= 1.6
			in.FlowPast[8*24-2].Value *= 1.3
			in.Flow.Value = in.FlowPast[8*24-1].Value
		}, "do not agree"},
		{"a flow at 0.7 of it", func(in *Input) { in.FlowPast[8*24-1].Value *= 0.7; in.Flow.Value = in.FlowPast[8*24-1].Value }, ""},
		{"a flow at 0.63 of it", func(in *Input) { in.FlowPast[8*24-1].Value *= 0.63; in.Flow.Value = in.FlowPast[8*24-1].Value }, "do not agree"},
		{"a height 0.14 m above what goes with its flow", func(in *Input) { rising(in.StagePast, 0.14); in.Stage.Value += 0.14 }, ""},
		{"a height 0.17 m below it", func(in *Input) { rising(in.StagePast, -0.17); in.Stage.Value -= 0.17 }, "do not agree"},
		{"a height 0.14 m below it", func(in *Input) { rising(in.StagePast, -0.14); in.Stage.Value -= 0.14 }, ""},
		{"heights read 29 min beside the flows", func(in *Input) { aged(&in.Stage, &in.StagePast, 29*time.Minute) }, ""},
		{"heights read every hour for a day only", func(in *Input) {
			in.StagePast = without(in.StagePast, 80*time.Hour, 99*day)
		}, "together to compare them"},

		{"299 days on record", func(in *Input) { in.Record.Days = 299 }, "too few to check the last reading"},
		{"300 days on record", func(in *Input) { in.Record.Days = 300 }, ""},
		{"a little over half of the lowest on record", func(in *Input) { in.Record.LowM3s = 9.8 }, ""},
		{"under half of it", func(in *Input) { in.Record.LowM3s = 10.2 }, "far below anything on record"},
		{"a little under three times the highest", func(in *Input) { in.Record.HighM3s = 5 / 2.9 }, ""},
		{"over three times the highest", func(in *Input) { in.Record.HighM3s = 5 / 3.1 }, "far above anything on record"},
		{"2.9 times what was measured by hand", func(in *Input) { in.Record.VisitShare = 2.9 }, ""},
		{"3.1 times", func(in *Input) { in.Record.VisitShare = 3.1 }, "unit may be wrong"},
		{"a 2.9th", func(in *Input) { in.Record.VisitShare = 1 / 2.9 }, ""},
		{"a 3.1th", func(in *Input) { in.Record.VisitShare = 1 / 3.1 }, "unit may be wrong"},
	} {
		t.Run(c.what, func(t *testing.T) {
			in := calm(t)
			c.set(&in)
			text := Assess(in).Format(Metric)
			doubted := strings.Contains(text, "unknown:")
			if doubted != (c.says != "") || !strings.Contains(text, c.says) {
				t.Errorf("want %q in\n%s", c.says, text)
			}
		})
	}
}

// cut shortens the readings to some hours.
func cut(in *Input, to time.Duration) {
	in.FlowPast, in.StagePast = without(in.FlowPast, to+time.Minute, 99*day), without(in.StagePast, to+time.Minute, 99*day)
}

// silence takes the flow's readings away for so long, ending some time before the
// newest; one reading stands at each end.
func silence(in *Input, end, long time.Duration) {
	newest := in.Flow.Age
	in.FlowPast = without(in.FlowPast, end, end+long)
	in.FlowPast = append(in.FlowPast, Past{newest + end, 5.01}, Past{newest + end + long, 5.02})
}

// stageOnly sets the last heights of a gauge whose flow stands still beside.
func stageOnly(in *Input, last ...float64) {
	in.StagePast = hourly(in.Stage.Age, last[0], last...)
	in.Stage.Value, in.StageOnly, in.Flow, in.FlowPast, in.Geometry = last[len(last)-1], true, Reading{}, nil, nil
	in.StageFit, in.Flood = &StageFit{A: -5, B: 1, N: 20, MinM: 0.5, MaxM: 4}, NoFlood
}

// drift moves the last readings evenly by so much.
func drift(past []Past, hours int, by float64) {
	n := len(past)
	for h := range hours + 1 {
		past[n-1-h].Value += by * float64(hours-h) / float64(hours)
	}
}

func TestTheLimitsOfARise(t *testing.T) {
	for _, c := range []struct {
		hours, stageM, share float64
		fast                 bool
	}{
		{1, 0.153, math.NaN(), true}, {1, 0.151, math.NaN(), false}, {1, math.NaN(), 0.251, true}, {1, math.NaN(), 0.249, false},
		{1.5, 0.2, 0.4, false}, {3, 0.31, math.NaN(), true}, {3, 0.30, math.NaN(), false}, {3, math.NaN(), 0.51, true}, {3, math.NaN(), 0.49, false}, {3.1, 9, 9, false},
	} {
		if got := fastRise(c.hours, c.stageM, c.share); got != c.fast {
			t.Errorf("%+v: %t", c, got)
		}
	}
	// Evenly over twenty hours: no hour of it is fast.
	for _, c := range []struct {
		by    float64
		stage bool
		want  Level
	}{
		{1.9, false, Quiet}, {2.1, false, BetterNot}, {3.9, false, BetterNot}, {4.1, false, KeepOut},
		{0.58, true, Quiet}, {0.62, true, BetterNot}, {1.17, true, BetterNot}, {1.23, true, KeepOut},
	} {
		past := hourly(0, 1)
		n := len(past)
		for i := range past {
			done := min(max(float64(21-(n-i))/20, 0), 1)
			past[i].Value = math.Pow(c.by, done)
			if c.stage {
				past[i].Value = 1 + c.by*done
			}
		}
		s := newSensor("x", c.stage, measured(past[n-1].Value, 0), past)
		if got := s.riseTo(len(s.past) - 1); got.level != c.want {
			t.Errorf("%+v: level %d", c, got.level)
		}
	}
	if got := fmt.Sprintf("%.2f %.2f", share(0.039, 0.02), share(6, 3)); got != "0.30 1.00" {
		t.Errorf("shares %s", got)
	}
	// A slow rise of more than a day ago is over; before an outage nothing is.
	in := calm(t)
	in.steady(5)
	for i := range in.FlowPast {
		if in.FlowPast[i].Age > in.Flow.Age+30*time.Hour {
			in.FlowPast[i].Value = 2
		}
	}
	s := newSensor("flow", false, in.Flow, in.FlowPast)
	if r := s.riseTo(len(s.past) - 1); r.level != Quiet {
		t.Errorf("a rise 30 hours ago asks for %d", r.level)
	}
	s = newSensor("flow", false, in.Flow, without(in.FlowPast, time.Hour, 31*time.Hour))
	if r := s.riseTo(len(s.past) - 1); r.level != BetterNot {
		t.Errorf("a rise across an outage of 31 hours asks for %d", r.level)
	}
}

func TestTheFloorIsTheHighestOfWhatWasReadBefore(t *testing.T) {
	in := calm(t)
	in.steady(5)
	var high []float64
	for i := range 32 {
		high = append(high, 19+0.01*float64(i%2))
	}
	in.flows(append(high, 16, 12, 9, 1)...)
	c := Assess(in)
	if c.Known || c.Level != BetterNot || !c.Doubted {
		t.Errorf("after 19 m3/s within six hours: level %d known %t\n%s", c.Level, c.Known, c.Format(Metric))
	}
	in.flows(40, 40, 40, 1, 2, 3, 4, 5, 5.1, 5, 5.1, 5)
	if c := Assess(in); c.Known || c.Level != KeepOut {
		t.Errorf("after a step that no river makes: level %d known %t\n%s", c.Level, c.Known, c.Format(Metric))
	}
	// The height speaks for a flow that is not believed.
	in = calm(t)
	n := len(in.FlowPast)
	for i := range in.FlowPast {
		in.FlowPast[i].Value, in.StagePast[i].Value = 19+0.01*float64(i%2), heightAt(19+0.01*float64(i%2))
		if in.FlowPast[i].Age < in.Flow.Age+8*time.Hour {
			in.FlowPast[i].Value = 5 + 0.01*float64(i%2)
		}
	}
	in.Flow.Value, in.Stage.Value = in.FlowPast[n-1].Value, in.StagePast[n-1].Value
	if c := Assess(in); c.Known || c.Level != BetterNot || !strings.Contains(c.Format(Metric), "do not agree") {
		t.Errorf("a flow that says 5 beside a height that says 19: level %d known %t\n%s", c.Level, c.Known, c.Format(Metric))
	}
}
