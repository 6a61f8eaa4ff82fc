package qc

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

// What each variable's own thresholds do to values on both sides of them. The
// numbers are those that Default's comments name; the flags are worked out by hand
// from the manuals' definitions.

// grossRange is what fails below failLow and above end, and is suspect below low
// and above high.
type grossRange struct {
	v                       ingest.Variable
	period                  string
	failLow, low, high, end float64
}

func (c grossRange) is(t *testing.T, x float64, want ingest.Flag) {
	t.Helper()
	s := series(c.v, time.Hour, x)
	s.Period = c.period
	if got, _ := Check(s, Default(c.v, c.period), Context{}); got.Flag[0] != want {
		t.Errorf("%s %s of %g: flag %d, want %d", c.v, c.period, x, got.Flag[0], want)
	}
}

func TestTheGrossRangesOfEachVariable(t *testing.T) {
	for _, c := range []grossRange{
		{ingest.WaterTemperature, ingest.NoPeriod, -0.5, -0.2, 30, 40},
		{ingest.AirTemperature, ingest.NoPeriod, -90, -60, 50, 57},
		{ingest.Discharge, ingest.NoPeriod, 0, 0, 2e5, 3e5},
		{ingest.GaugeHeight, ingest.NoPeriod, -500, -500, 6000, 9000},
		{ingest.Turbidity, ingest.NoPeriod, 0, 0, 4000, 10000},
		{ingest.Precipitation, ingest.NoPeriod, 0, 0, 100, 450},
		{ingest.Precipitation, ingest.Daily, 0, 0, 500, 1830},
		{ingest.Snowfall, ingest.NoPeriod, 0, 0, 300, 450},
		{ingest.SnowDepth, ingest.NoPeriod, 0, 0, 12, 20},
		{ingest.RelativeHumidity, ingest.NoPeriod, 0, 0, 105, 105},
		{ingest.CloudCover, ingest.NoPeriod, 0, 0, 105, 105},
		{ingest.WindSpeed, ingest.NoPeriod, 0, 0, 60, 115},
		{ingest.ShortwaveRadiation, ingest.NoPeriod, -10, -10, 1400, 1600},
	} {
		tiny := func(x float64) float64 { return max(0.001, math.Abs(x)*1e-6) }
		for x, want := range map[float64]ingest.Flag{
			c.failLow - tiny(c.failLow): ingest.Fail, c.low: ingest.Pass, c.high: ingest.Pass, c.end + tiny(c.end): ingest.Fail,
		} {
			c.is(t, x, want)
		}
		if c.failLow < c.low {
			c.is(t, c.failLow, ingest.Suspect)
			c.is(t, c.low-tiny(c.low), ingest.Suspect)
		}
		if c.high < c.end {
			c.is(t, c.end, ingest.Suspect)
			c.is(t, c.high+tiny(c.high), ingest.Suspect)
		}
	}
}

// before are so many honest readings, none equal to the next.
func before(n int, mean, wobble float64) (out []float64) {
	for i := range n {
		out = append(out, mean+wobble*float64(i%4))
	}
	return out
}

func TestSpikesStepsAndFlatLinesOfEachVariable(t *testing.T) {
	const hour = time.Hour
	still := func(n int, v float64) []float64 { return slices.Repeat([]float64{v}, n) }
	for _, c := range []struct {
		v      ingest.Variable
		period string
		step   time.Duration
		values []float64
		back   int // readings before the last
		want   ingest.Flag
		test   string
	}{
		{ingest.WaterTemperature, "", hour, []float64{10, 10.9, 10}, 1, ingest.Pass, ""},
		{ingest.WaterTemperature, "", hour, []float64{10, 11.1, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.WaterTemperature, "", hour, []float64{10, 12.9, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.WaterTemperature, "", hour, []float64{10, 13.1, 10}, 1, ingest.Fail, TestSpike},
		{ingest.WaterTemperature, ingest.Daily, day, []float64{10, 13.9, 10}, 1, ingest.Pass, ""},
		{ingest.WaterTemperature, ingest.Daily, day, []float64{10, 14.1, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.WaterTemperature, ingest.Daily, day, []float64{10, 17.9, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.WaterTemperature, ingest.Daily, day, []float64{10, 18.1, 10}, 1, ingest.Fail, TestSpike},
		{ingest.AirTemperature, "", hour, []float64{10, 17.9, 10}, 1, ingest.Pass, ""},
		{ingest.AirTemperature, "", hour, []float64{10, 18.1, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.AirTemperature, "", hour, []float64{10, 24.9, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.AirTemperature, "", hour, []float64{10, 25.1, 10}, 1, ingest.Fail, TestSpike},
		{ingest.AirTemperature, ingest.Daily, day, []float64{10, 29.9, 10}, 1, ingest.Pass, ""},
		{ingest.AirTemperature, ingest.Daily, day, []float64{10, 30.1, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.AirTemperature, ingest.Daily, day, []float64{10, 39.9, 10}, 1, ingest.Suspect, TestSpike},
		{ingest.AirTemperature, ingest.Daily, day, []float64{10, 40.1, 10}, 1, ingest.Fail, TestSpike},
		{ingest.GaugeHeight, "", hour, []float64{1, 1.49, 1}, 1, ingest.Pass, ""},
		{ingest.GaugeHeight, "", hour, []float64{1, 1.51, 1}, 1, ingest.Suspect, TestSpike},
		{ingest.GaugeHeight, "", hour, []float64{1, 2.99, 1}, 1, ingest.Suspect, TestSpike},
		{ingest.GaugeHeight, "", hour, []float64{1, 3.01, 1}, 1, ingest.Fail, TestSpike},
		{ingest.Discharge, "", hour, []float64{5, 9.9, 5}, 1, ingest.Pass, ""},
		{ingest.Discharge, "", hour, []float64{5, 10.1, 5}, 1, ingest.Suspect, TestSpike},
		{ingest.Discharge, "", hour, []float64{5, 49, 5}, 1, ingest.Suspect, TestSpike},
		{ingest.Discharge, "", hour, []float64{5, 51, 5}, 1, ingest.Fail, TestSpike},
		{ingest.Discharge, "", hour, []float64{0.001, 0.059, 0.001}, 1, ingest.Pass, ""},
		{ingest.Discharge, "", hour, []float64{0.001, 0.066, 0.001}, 1, ingest.Suspect, TestSpike},
		{ingest.Discharge, ingest.Daily, day, []float64{5, 24, 5}, 1, ingest.Pass, ""},
		{ingest.Discharge, ingest.Daily, day, []float64{5, 26, 5}, 1, ingest.Suspect, TestSpike},
		{ingest.Discharge, ingest.Daily, day, []float64{5, 149, 5}, 1, ingest.Suspect, TestSpike},
		{ingest.Discharge, ingest.Daily, day, []float64{5, 151, 5}, 1, ingest.Fail, TestSpike},

		// Of 20 readings that alternate by 1 the standard deviation is 0.51.
		{ingest.WaterTemperature, "", hour, append(before(20, 10, 0), 11.9), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, "", hour, append(before(20, 10, 0), 12.1), 0, ingest.Suspect, TestRate},
		{ingest.WaterTemperature, "", hour, append(alternating(20, 10, 11), 13.9), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, "", hour, append(alternating(20, 10, 11), 14.2), 0, ingest.Suspect, TestRate},
		// What lies more than 25 hours back no longer counts.
		{ingest.WaterTemperature, "", hour, slices.Concat(alternating(40, 10, 11), before(27, 11, 0), []float64{13.1}), 0, ingest.Suspect, TestRate},
		{ingest.WaterTemperature, ingest.Daily, day, append(before(12, 10, 0.1), 15.0), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, ingest.Daily, day, append(before(12, 10, 0.1), 15.9), 0, ingest.Suspect, TestRate},
		{ingest.WaterTemperature, ingest.Daily, day, append(alternating(8, 10, 11), 17), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, ingest.Daily, day, append(alternating(8, 10, 11), 17.2), 0, ingest.Suspect, TestRate},
		{ingest.WaterTemperature, ingest.Daily, day, slices.Concat(alternating(20, 5, 9), before(11, 9, 0.1), []float64{14.6}), 0, ingest.Suspect, TestRate},
		{ingest.Discharge, "", hour, append(alternating(20, 5, 5*math.E), 5*math.E*13.5), 0, ingest.Pass, ""},
		{ingest.Discharge, "", hour, append(alternating(20, 5, 5*math.E), 5*math.E*14.5), 0, ingest.Suspect, TestRate},
		{ingest.Discharge, "", hour, slices.Concat(alternating(40, 5, 5*math.E), before(27, 13.6, 0), []float64{13.6 * 3.1}), 0, ingest.Suspect, TestRate},

		{ingest.WaterTemperature, "", 5 * hour / 2, still(20, 8), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, "", 5 * hour / 2, still(21, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.WaterTemperature, "", 5 * hour / 2, still(68, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.WaterTemperature, "", 5 * hour / 2, still(69, 8), 0, ingest.Fail, TestFlatLine},
		{ingest.WaterTemperature, "", 5 * hour / 2, still(69, 0.29), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, "", 5 * hour / 2, still(69, -0.19), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, "", 5 * hour / 2, still(69, 0.31), 0, ingest.Fail, TestFlatLine},
		{ingest.WaterTemperature, ingest.Daily, day, still(4, 8), 0, ingest.Pass, ""},
		{ingest.WaterTemperature, ingest.Daily, day, still(5, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.WaterTemperature, ingest.Daily, day, still(7, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.WaterTemperature, ingest.Daily, day, still(8, 8), 0, ingest.Fail, TestFlatLine},
		{ingest.WaterTemperature, ingest.Daily, day, alternating(8, 8, 8.0055), 0, ingest.Pass, ""},
		{ingest.AirTemperature, "", 5 * hour / 2, still(10, 8), 0, ingest.Pass, ""},
		{ingest.AirTemperature, "", 5 * hour / 2, still(11, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.AirTemperature, "", 5 * hour / 2, still(29, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.AirTemperature, "", 5 * hour / 2, still(30, 8), 0, ingest.Fail, TestFlatLine},
		{ingest.AirTemperature, "", 5 * hour / 2, alternating(30, 8, 8.0055), 0, ingest.Pass, ""},
		{ingest.AirTemperature, ingest.Daily, day, still(5, 8), 0, ingest.Pass, ""},
		{ingest.AirTemperature, ingest.Daily, day, still(6, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.AirTemperature, ingest.Daily, day, still(8, 8), 0, ingest.Suspect, TestFlatLine},
		{ingest.AirTemperature, ingest.Daily, day, still(9, 8), 0, ingest.Fail, TestFlatLine},
		{ingest.Discharge, ingest.Daily, day, still(10, 8), 0, ingest.Pass, ""},
		{ingest.Discharge, ingest.Daily, day, still(11, 8), 0, ingest.Suspect, TestFlatLine},

		// A reading is compared with neighbours up to three hours (two days) away.
		{ingest.WaterTemperature, "", 3 * hour, []float64{10, 13.1, 10}, 1, ingest.Fail, TestSpike},
		{ingest.WaterTemperature, "", 3*hour + time.Minute, []float64{10, 13.1, 10}, 1, ingest.Pass, ""},
		{ingest.WaterTemperature, ingest.Daily, 2 * day, []float64{10, 18.1, 10}, 1, ingest.Fail, TestSpike},
		{ingest.WaterTemperature, ingest.Daily, 2*day + hour, []float64{10, 18.1, 10}, 1, ingest.Pass, ""},
	} {
		n := len(c.values)
		t.Run(fmt.Sprintf("%s %s %v ends %v", c.v, c.period, n, c.values[max(0, n-3):]), func(t *testing.T) {
			s := series(c.v, c.step, c.values...)
			s.Period = c.period
			got, _ := Check(s, Default(c.v, c.period), Context{})
			if i := n - 1 - c.back; got.Flag[i] != c.want || got.FlagTest[i] != c.test {
				t.Errorf("flag %d by %q, want %d by %q", got.Flag[i], got.FlagTest[i], c.want, c.test)
			}
		})
	}
}

// alternating are two values in turn; the last is the second of them.
func alternating(n int, a, b float64) (out []float64) {
	for i := range n {
		out = append(out, []float64{a, b}[i%2])
	}
	return out
}

func TestHowColdMakesIce(t *testing.T) {
	for _, v := range []ingest.Variable{ingest.Discharge, ingest.GaugeHeight} {
		for _, c := range []struct {
			what       string
			air, water float64
			from, to   time.Duration // of the air's readings, before the flow's
			want       string
		}{
			{"5.1 °C of frost for three days", -5.1, math.NaN(), 72 * time.Hour, 0, TestIce},
			{"4.9 °C", -4.9, math.NaN(), 72 * time.Hour, 0, ""},
			{"and water at 0.29 °C", -9, 0.29, 72 * time.Hour, 0, TestIce},
			{"and water at 0.31 °C", -9, 0.31, 72 * time.Hour, 0, ""},
			{"frost that ended 23 hours ago and nothing since", -9, math.NaN(), 72 * time.Hour, 23 * time.Hour, TestIce},
			{"frost that ended 25 hours ago", -9, math.NaN(), 72 * time.Hour, 25 * time.Hour, ""},
		} {
			s := series(v, time.Hour, 2)
			at := s.At(0)
			var air, water ingest.Series
			for d := c.from; d >= c.to; d -= time.Hour {
				air.Time, air.Value = append(air.Time, at.Add(-d).UnixMicro()), append(air.Value, c.air)
			}
			x := Context{Air: &air}
			if !math.IsNaN(c.water) {
				water.Time, water.Value = []int64{at.Add(-time.Hour).UnixMicro()}, []float64{c.water}
				x.Water = &water
			}
			if got, _ := Check(s, Default(v, ""), x); got.FlagTest[0] != c.want {
				t.Errorf("%s, %s: %q, want %q", v, c.what, got.FlagTest[0], c.want)
			}
			// Warm days before the three that count are forgotten.
			for d := 200 * time.Hour; d > 72*time.Hour; d -= time.Hour {
				air.Time, air.Value = append(air.Time, at.Add(-d).UnixMicro()), append(air.Value, 20)
			}
			slices.Sort(air.Time)
			n := len(air.Value)
			slices.SortStableFunc(air.Value, func(a, b float64) int { return int(b) - int(a) })
			if got, _ := Check(series(v, time.Hour, 2), Default(v, ""), x); n > 0 && got.FlagTest[0] != c.want {
				t.Errorf("%s, %s after warm days: %q, want %q", v, c.what, got.FlagTest[0], c.want)
			}
		}
	}
	// The water of three hours ago still speaks, that of four hours ago does not.
	for hours, want := range map[int]string{3: "", 4: TestIce} {
		s := series(ingest.Discharge, time.Hour, 2)
		var air ingest.Series
		for d := 72; d >= 0; d-- {
			air.Time, air.Value = append(air.Time, s.At(0).Add(-time.Duration(d)*time.Hour).UnixMicro()), append(air.Value, -9)
		}
		water := ingest.Series{Time: []int64{s.At(0).Add(-time.Duration(hours) * time.Hour).UnixMicro()}, Value: []float64{4}}
		if got, _ := Check(s, Default(ingest.Discharge, ""), Context{Air: &air, Water: &water}); got.FlagTest[0] != want {
			t.Errorf("water of %d hours ago: %q, want %q", hours, got.FlagTest[0], want)
		}
		water.Period = ingest.Daily
		if got, _ := Check(series(ingest.Discharge, time.Hour, 2), Default(ingest.Discharge, ""), Context{Air: &air, Water: &water}); got.FlagTest[0] != "" {
			t.Errorf("the water's daily mean of %d hours ago is not used", hours)
		}
	}
	// Air is no river.
	s := series(ingest.WaterTemperature, time.Hour, 2)
	air := ingest.Series{Time: []int64{s.Time[0]}, Value: []float64{-9}}
	c := Default(ingest.WaterTemperature, "")
	c.Ice = Ice{AirSpan: 3 * day, Air: -5, Water: 0.3}
	if got, _ := Check(s, c, Context{Air: &air}); got.FlagTest[0] != "" {
		t.Errorf("a water temperature under ice: %q", got.FlagTest[0])
	}
}

func TestTheRangesOfAClimatology(t *testing.T) {
	for date, want := range map[string]int{"2000-03-01": 61, "1900-03-01": 61, "2024-03-01": 61, "2023-03-01": 61, "2023-02-28": 59, "2023-12-31": 366, "2024-12-31": 366} {
		at, err := time.Parse(time.DateOnly, date)
		if err != nil {
			t.Fatal(err)
		}
		if got := dayOf(at); got != want {
			t.Errorf("%s is day %d, want %d", date, got, want)
		}
	}
	if floorDiv(-1, 10) != -1 || floorDiv(-10, 10) != -1 || floorDiv(11, 10) != 1 {
		t.Error("days before 1970")
	}
	// Six years of 13 days from day 101 on, and one of another value on day 130.
	var s ingest.Series
	add := func(day int, values ...float64) {
		for i, v := range values {
			at := time.Date(2015+i, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, day-1)
			if d := dayOf(at); d != day { // as if every year had a 29 February
				at = at.AddDate(0, 0, day-d)
			}
			s.Time, s.Value = append(s.Time, at.UnixMicro()), append(s.Value, v)
		}
	}
	for day := 101; day <= 113; day++ {
		add(day, 4, 6, 8, 10, 12, 14)
	}
	add(130, 90, 90, 90, 90, 90, 90)
	add(100, math.NaN(), math.NaN())
	c := ClimatologyOf(s, 1)
	for day, want := range map[int]Range{107: {-1, 19}, 114: {-1, 19}, 98: {-1, 19}, 116: {4 - 43, 90 + 43}} {
		if got := c.Days[day]; got != want {
			t.Errorf("day %d: %v, want %v", day, got, want)
		}
	}
	// 12 days of six and the other six make 78 readings of 77 that are wanted; 11 make 72.
	if math.IsNaN(c.Days[117].Low) || !math.IsNaN(c.Days[118].Low) {
		t.Errorf("of 78 readings %v, of 72 %v", c.Days[117], c.Days[118])
	}
	x := &Climatology{}
	at := start.YearDay() + 1
	for r, want := range map[Range]string{{0, 5}: "3", {0, 9}: "1", {math.Inf(-1), math.Inf(1)}: "1", {}: "2"} {
		x.Days[at], x.Days[at-1] = r, r
		if got := flags(t, series(ingest.WaterTemperature, time.Hour, 8), only(), Context{Climatology: x}); got != want {
			t.Errorf("8 within %v: %s, want %s", r, got, want)
		}
	}
	for _, r := range []Range{{nan, 5}, {9, nan}, {nan, nan}} {
		x.Days[at], x.Days[at-1] = r, r
		if got := flags(t, series(ingest.WaterTemperature, time.Hour, 8), only(), Context{Climatology: x}); got != "2" {
			t.Errorf("8 within %v: %s", r, got)
		}
	}
}

func TestWhatIsNotJudged(t *testing.T) {
	c := only()
	c.User = Range{0, 10}
	if got := flags(t, series(ingest.WaterTemperature, time.Hour, 5, 11), c, Context{}); got != "13" {
		t.Errorf("the user's range alone: %s", got)
	}
	c = only()
	c.Sensor = Range{0, 10}
	if got := flags(t, series(ingest.WaterTemperature, time.Hour, 5, 11), c, Context{}); got != "14" {
		t.Errorf("the sensor's range alone: %s", got)
	}
	if got := flags(t, series(ingest.WaterTemperature, time.Hour, 5), Config{}, Context{}); got != "2" {
		t.Errorf("no range: %s", got)
	}
	c = only()
	c.FlatSuspect, c.FlatFail = 1, 2
	if got := flags(t, series(ingest.WaterTemperature, time.Hour, 5, 5, 5, 5), c, Context{}); got != "2222" {
		t.Errorf("a flat line without a tolerance: %s", got)
	}
	s := series(ingest.WaterTemperature, 9*time.Hour, 5, 5)
	if _, rep := Check(s, Config{}, Context{Now: s.At(1).Add(day)}); len(rep.Gaps) > 0 || rep.Late {
		t.Errorf("gaps without a limit: %+v", rep)
	}
	if _, rep := Check(series(ingest.WaterTemperature, time.Hour, nan, nan), Config{Gap: time.Hour}, Context{Now: start.Add(day)}); len(rep.Gaps) > 0 || rep.Late {
		t.Errorf("gaps of nothing: %+v", rep)
	}
	// The worst verdict stands, whichever came first.
	s = series(ingest.WaterTemperature, time.Hour, 99, 5)
	s.Qualifier = []string{"e", "e"}
	if got := flags(t, s, Default(ingest.WaterTemperature, ""), Context{}); got != "43" {
		t.Errorf("estimated, one of them impossible: %s", got)
	}
	// Without air there is no judgement by it.
	air := ingest.Series{}
	hot := swing(ingest.WaterTemperature, 15*time.Minute, 2, 12, 8, 15)
	if got, _ := Check(hot, Default(ingest.WaterTemperature, ""), Context{Air: &air}); slices.Contains(got.FlagTest, TestOutOfWater) {
		t.Error("out of the water by no air")
	}
	later := ingest.Series{Time: []int64{start.AddDate(1, 0, 0).UnixMicro()}, Value: []float64{-30}}
	if got, _ := Check(series(ingest.Discharge, time.Hour, 2), Default(ingest.Discharge, ""), Context{Air: &later}); got.FlagTest[0] != "" {
		t.Error("ice by the cold of next year")
	}
}

// A sensor that follows the air hour by hour, of which some is missing or wrong.
func TestWhichAirAWaterSensorIsComparedWith(t *testing.T) {
	for _, c := range []struct {
		what   string
		change func(water, air *ingest.Series)
		fails  bool
	}{
		{"24 pairs", func(*ingest.Series, *ingest.Series) {}, true},
		{"18 pairs", func(_, a *ingest.Series) { blank(a, 6) }, true},
		{"17 pairs", func(_, a *ingest.Series) { blank(a, 7) }, false},
		{"17 pairs of water that may be believed", func(w, _ *ingest.Series) { blank(w, 7) }, false},
		{"air 29 minutes beside", func(_, a *ingest.Series) { shift(a, 29*time.Minute) }, true},
		{"air that swings by 5.9 °C", func(w, a *ingest.Series) { scale(w, 5.9/16); scale(a, 5.9/16) }, false},
		{"by 6.1 °C", func(w, a *ingest.Series) { scale(w, 6.2/16); scale(a, 6.2/16) }, true},
	} {
		water, air := swing(ingest.WaterTemperature, time.Hour, 1, 12, 8, 15), swing(ingest.AirTemperature, time.Hour, 1, 12, 8, 15)
		c.change(&water, &air)
		got, _ := Check(water, Default(ingest.WaterTemperature, ""), Context{Air: &air})
		if fails := slices.Contains(got.FlagTest, TestOutOfWater); fails != c.fails {
			t.Errorf("%s: out of the water %t", c.what, fails)
		}
	}
	// Every two hours, the air 33 minutes beside: none of it is of the same time.
	water, air := swing(ingest.WaterTemperature, 2*time.Hour, 1, 12, 8, 15), swing(ingest.AirTemperature, 2*time.Hour, 1, 12, 8, 15)
	c := Default(ingest.WaterTemperature, "")
	c.OutOfWater.Pairs = 8
	shift(&air, 29*time.Minute)
	if got, _ := Check(water, c, Context{Air: &air}); !slices.Contains(got.FlagTest, TestOutOfWater) {
		t.Error("air of 29 minutes later is not used")
	}
	shift(&air, 4*time.Minute)
	if got, _ := Check(water, c, Context{Air: &air}); slices.Contains(got.FlagTest, TestOutOfWater) {
		t.Error("air of 33 minutes later is used")
	}
}

func blank(s *ingest.Series, n int) {
	for i := range n {
		s.Value[3*i] = math.NaN()
	}
}

func shift(s *ingest.Series, by time.Duration) {
	for i := range s.Time {
		s.Time[i] += by.Microseconds()
	}
}

func scale(s *ingest.Series, by float64) {
	for i := range s.Value {
		s.Value[i] = 12 + (s.Value[i]-12)*by
	}
}
