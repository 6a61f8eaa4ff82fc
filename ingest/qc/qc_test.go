package qc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

var nan = math.NaN()

var start = time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)

// series makes readings a step apart.
func series(v ingest.Variable, step time.Duration, values ...float64) ingest.Series {
	s := ingest.Series{Key: ingest.Key{Feed: "usgs", Site: "1", Variable: v, Statistic: ingest.Instant}, Value: values}
	for i := range values {
		s.Time = append(s.Time, start.Add(time.Duration(i)*step).UnixMicro())
	}
	return s
}

func flags(t *testing.T, s ingest.Series, c Config, x Context) string {
	t.Helper()
	got, _ := Check(s, c, x)
	var b strings.Builder
	for _, f := range got.Flag {
		fmt.Fprint(&b, f)
	}
	return b.String()
}

// only switches every test off, so that a case can switch one on.
func only() Config {
	return Config{Gap: time.Hour, Sensor: everything, User: everything, FlatExempt: Range{nan, nan}}
}

// The cases follow the definitions and example thresholds of the QARTOD
// manuals (pH manual 2019, tests 1 and 4 to 8; glider manual 2016, tests 4 and
// 6 to 9), which the temperature and water level manuals share. The manuals
// print no worked series; the series are invented.
func TestTheManualsDefinitions(t *testing.T) {
	for _, c := range []struct {
		name   string
		set    func(*Config)
		values []float64
		x      Context
		want   string
	}{
		{"gross range: outside the sensor fails, outside the user's span is suspect, the ends pass",
			func(c *Config) { c.Sensor, c.User = Range{0, 14}, Range{7, 9} }, []float64{-0.1, 0, 6.9, 7, 9, 9.1, 14, 14.1}, Context{}, "43311334"},
		{"climatology: T_SPRING_MIN 12 °C, T_SPRING_MAX 18 °C; there is no fail",
			func(*Config) {}, []float64{11.9, 12, 18, 18.1, 40}, Context{Climatology: spring()}, "31133"},
		{"spike: THRSHLD_LOW 0.1, THRSHLD_HIGH 0.2; a height on a threshold is not above it; the ends cannot be judged",
			func(c *Config) { c.SpikeLow, c.SpikeHigh = 0.125, 0.25 }, []float64{8, 8.125, 8, 8.25, 8, 8, 7.5, 8}, Context{}, "21131142"},
		{"spike: a step is none", func(c *Config) { c.SpikeLow, c.SpikeHigh = 0.1, 0.2 }, []float64{8, 8, 9, 9}, Context{}, "2112"},
		{"rate of change, example 2: 2 °C + 2 SD",
			func(c *Config) { c.RateFloor, c.RateSD, c.RateSpan = 2, 2, 25*time.Hour }, []float64{10, 10, 10, 10, 10, 12, 10, 14.5}, Context{}, "22222113"},
		{"rate of change, example 1: 3 SD over 25 h; there is no fail",
			func(c *Config) { c.RateSD, c.RateSpan = 3, 25*time.Hour }, []float64{1, 2, 1, 2, 1, 2, 1, 9}, Context{}, "22222113"},
		{"flat line: REP_CNT_SUSPECT 3 and REP_CNT_FAIL 5 readings before it are equal",
			func(c *Config) { c.FlatSuspect, c.FlatFail, c.FlatEPS = 3, 5, 0.05 }, []float64{7, 8, 8, 8, 8, 8, 8, 8, 8.05, 8}, Context{}, "2111334411"},
		{"flat line: within EPS of the present reading, not of its neighbour",
			func(c *Config) { c.FlatSuspect, c.FlatFail, c.FlatEPS = 2, 9, 0.05 }, []float64{8, 8.03, 8.06, 8.09, 8.08}, Context{}, "21113"},
	} {
		t.Run(c.name, func(t *testing.T) {
			cfg := only()
			c.set(&cfg)
			if got := flags(t, series(ingest.WaterTemperature, 15*time.Minute, c.values...), cfg, c.x); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

func spring() *Climatology {
	c := &Climatology{}
	for d := range c.Days {
		c.Days[d] = Range{12, 18}
	}
	return c
}

func TestTheGapTestSpeaksOfSilenceNotOfReadings(t *testing.T) {
	s := series(ingest.WaterTemperature, time.Hour, 8, 8, nan, nan, 8, 8) // TIM_INC 1 h, as in the manual's example
	got, rep := Check(s, Config{Gap: time.Hour, Sensor: Range{0, 40}, User: Range{0, 40}}, Context{Now: s.At(5).Add(61 * time.Minute)})
	if len(rep.Gaps) != 2 || rep.Gaps[0] != (Gap{s.At(1), s.At(4)}) || rep.Gaps[1] != (Gap{From: s.At(5)}) || !rep.Late {
		t.Errorf("gaps are %v, late %v", rep.Gaps, rep.Late)
	}
	if got.Flag[4] != ingest.Pass || got.Flag[2] != ingest.Missing {
		t.Errorf("flags are %v", got.Flag)
	}
	if _, rep = Check(s, Config{Gap: time.Hour}, Context{Now: s.At(5).Add(time.Hour)}); rep.Late {
		t.Error("a reading that is exactly TIM_INC old is called late")
	}
}

func TestNeighboursOfASpikeAndReadingsAcrossAGapAreNotJudgedByIt(t *testing.T) {
	c := only()
	c.SpikeLow, c.SpikeHigh = 1, 3
	c.Sensor = Range{-0.5, 40}
	c.User = Range{-0.5, 40}
	if got := flags(t, series(ingest.WaterTemperature, time.Minute, 10, 10.1, 10, 25, 10.1, 10, 10, 10), c, Context{}); got != "11141111" {
		t.Errorf("beside a lone spike: got %s", got)
	}
	if got := flags(t, series(ingest.WaterTemperature, time.Minute, 10, 99, 14, 10, 10), c, Context{}); got != "14411" {
		// 99 fails the gross range; 14 then stands between 10 and 10.
		t.Errorf("beside an impossible reading: got %s", got)
	}
	if got := flags(t, series(ingest.WaterTemperature, 2*time.Hour, 10, 20, 10), c, Context{}); got != "111" {
		t.Errorf("neighbours beyond the gap limit were used: got %s", got)
	}
}

func TestAColdRiverMayStandStill(t *testing.T) {
	c := Default(ingest.WaterTemperature, ingest.NoPeriod)
	still := func(v float64, days int) ingest.Series {
		return series(ingest.WaterTemperature, 15*time.Minute, slices.Repeat([]float64{v}, 96*days)...)
	}
	for _, x := range []struct {
		name string
		s    ingest.Series
		want ingest.Flag
	}{
		{"at 0 °C for a month", still(0, 30), ingest.Pass},
		{"at 6 °C for a day and a half", still(6, 1), ingest.Pass},
		{"at 6 °C for three days", still(6, 3), ingest.Suspect},
		{"at 6 °C for eight days", still(6, 8), ingest.Fail},
	} {
		t.Run(x.name, func(t *testing.T) {
			got, _ := Check(x.s, c, Context{})
			if f := got.Flag[got.Len()-1]; f != x.want {
				t.Errorf("the last flag is %d, want %d", f, x.want)
			}
		})
	}
}

// swing is a daily wave that peaks at the given hour.
func swing(v ingest.Variable, step time.Duration, days int, mean, amplitude, peak float64) ingest.Series {
	var values []float64
	for h := 0.0; h < 24*float64(days); h += step.Hours() {
		values = append(values, mean+amplitude*math.Cos(2*math.Pi*(h-peak)/24))
	}
	return series(v, step, values...)
}

func TestASensorInTheAirFollowsIt(t *testing.T) {
	air := swing(ingest.AirTemperature, time.Hour, 5, 15, 8, 15)
	c := Default(ingest.WaterTemperature, ingest.NoPeriod)
	for _, x := range []struct {
		name  string
		water ingest.Series
		want  ingest.Flag
	}{
		{"an open stream in summer lags by three hours and swings half as much", swing(ingest.WaterTemperature, 15*time.Minute, 5, 14, 4, 18), ingest.Pass},
		{"a shallow stream that swings as much, but later", swing(ingest.WaterTemperature, 15*time.Minute, 5, 14, 7, 17.5), ingest.Pass},
		{"a sensor fallen dry", swing(ingest.WaterTemperature, 15*time.Minute, 5, 15, 7.5, 15.2), ingest.Fail},
		{"a sensor half out", swing(ingest.WaterTemperature, 15*time.Minute, 5, 15, 5.8, 15.8), ingest.Suspect},
	} {
		t.Run(x.name, func(t *testing.T) {
			got, _ := Check(x.water, c, Context{Air: &air})
			i := got.Len() / 2
			if got.Flag[i] != x.want || (x.want != ingest.Pass && got.FlagTest[i] != TestOutOfWater) {
				t.Errorf("flag %d by %q, want %d", got.Flag[i], got.FlagTest[i], x.want)
			}
		})
	}
	calm := swing(ingest.AirTemperature, time.Hour, 5, 15, 2, 15)
	if got, _ := Check(swing(ingest.WaterTemperature, time.Hour, 5, 15, 2, 15), c, Context{Air: &calm}); got.Flag[60] != ingest.Pass {
		t.Error("a day on which the air hardly moves was judged")
	}
}

func TestFlowUnderIce(t *testing.T) {
	var flows []float64
	for i := range 96 * 6 {
		flows = append(flows, 5+0.01*float64(i%3))
	}
	flow := series(ingest.Discharge, 15*time.Minute, flows...)
	frost := series(ingest.AirTemperature, time.Hour, slices.Repeat([]float64{-12}, 24*6)...)
	mild := series(ingest.AirTemperature, time.Hour, slices.Repeat([]float64{3}, 24*6)...)
	frozen := series(ingest.WaterTemperature, time.Hour, slices.Repeat([]float64{0.1}, 24*6)...)
	spring := series(ingest.WaterTemperature, time.Hour, slices.Repeat([]float64{7}, 24*6)...)
	c := Default(ingest.Discharge, ingest.NoPeriod)
	for _, x := range []struct {
		name string
		x    Context
		want ingest.Flag
	}{
		{"nothing known of the cold", Context{}, ingest.Pass},
		{"mild air", Context{Air: &mild}, ingest.Pass},
		{"hard frost", Context{Air: &frost}, ingest.Suspect},
		{"hard frost and freezing water", Context{Air: &frost, Water: &frozen}, ingest.Suspect},
		{"hard frost on a spring creek", Context{Air: &frost, Water: &spring}, ingest.Pass},
	} {
		t.Run(x.name, func(t *testing.T) {
			got, _ := Check(flow, c, x.x)
			if f := got.Flag[400]; f != x.want || (x.want == ingest.Suspect && got.FlagTest[400] != TestIce) {
				t.Errorf("flag %d by %q, want %d", f, got.FlagTest[400], x.want)
			}
		})
	}
}

func TestFlowIsTestedForSpikesStepsAndStandingStill(t *testing.T) {
	// A day and a half of an ordinary flow, hour by hour, then the values.
	hours := func(values ...float64) ingest.Series {
		var all []float64
		for h := range 36 {
			all = append(all, 5+0.02*float64(h%4))
		}
		return series(ingest.Discharge, time.Hour, append(all, values...)...)
	}
	for _, x := range []struct {
		name string
		s    ingest.Series
		back int // readings before the last
		want ingest.Flag
		test string
	}{
		{"a lone reading a little under twice the others", hours(9.7, 5), 1, ingest.Pass, ""},
		{"one a little over twice", hours(10.4, 5), 1, ingest.Suspect, TestSpike},
		{"one a little under half", hours(2.4, 5), 1, ingest.Suspect, TestSpike},
		{"one eleven times as high", hours(56, 5), 1, ingest.Fail, TestSpike},
		{"one of nothing", hours(0, 5), 1, ingest.Fail, TestSpike},
		{"a lone reading at nothing in a trickle", series(ingest.Discharge, time.Hour, 0.04, 0.04, 0.001, 0.04, 0.04), 2, ingest.Pass, ""},
		{"a flood that triples in the hour", hours(14), 0, ingest.Pass, ""},
		{"one that quadruples", hours(20), 0, ingest.Suspect, TestRate},
		{"a flood that stays", hours(20, 22, 24), 0, ingest.Pass, ""},
		{"still for two days and 23 hours", hours(slices.Repeat([]float64{4}, 72)...), 0, ingest.Pass, ""},
		{"still for three days", hours(slices.Repeat([]float64{4}, 73)...), 0, ingest.Suspect, TestFlatLine},
		{"still for a month does not fail", hours(slices.Repeat([]float64{4}, 720)...), 0, ingest.Suspect, TestFlatLine},
		{"a dry bed", hours(slices.Repeat([]float64{0}, 720)...), 0, ingest.Pass, ""},
	} {
		t.Run(x.name, func(t *testing.T) {
			got, _ := Check(x.s, Default(ingest.Discharge, ingest.NoPeriod), Context{})
			i := got.Len() - 1 - x.back
			if got.Flag[i] != x.want || got.FlagTest[i] != x.test {
				t.Errorf("flag %d by %q, want %d by %q", got.Flag[i], got.FlagTest[i], x.want, x.test)
			}
		})
	}
	daily := Default(ingest.Discharge, ingest.Daily)
	if daily.RateSpan != 0 || daily.SpikeLow <= Default(ingest.Discharge, ingest.NoPeriod).SpikeLow || daily.FlatSuspectSpan != 10*24*time.Hour {
		t.Errorf("days are tested as hours are: %+v", daily)
	}
}

func TestWhatTheAgencySaysCounts(t *testing.T) {
	for _, c := range []struct {
		feed, q, test string
		want          ingest.Flag
	}{
		{"usgs", "", "", ingest.Pass}, {"usgs", "P", "", ingest.Pass}, {"usgs", "ESTIMATED", TestAgency, ingest.Suspect}, {"usgs", "ICE", TestIce, ingest.Suspect},
		{"usgs", "P,Eqp", TestAgency, ingest.Fail}, {"usgs", "A,e", TestAgency, ingest.Suspect},
		{"ghcn", "M:T", "", ingest.Pass}, {"ghcn", "M:T,Q:X", TestAgency, ingest.Fail}, {"ghcn", "Q:I", TestAgency, ingest.Fail},
		{"ea", "Good", "", ingest.Pass}, {"ea", "Suspect", TestAgency, ingest.Fail}, {"ea", "Estimated,Incomplete", TestAgency, ingest.Suspect}, {"ea", "Unchecked", "", ingest.Pass},
		{"eccc", "Ice Conditions", TestIce, ingest.Suspect}, {"nws", "X", TestAgency, ingest.Fail}, {"nws", "V", "", ingest.Pass},
		{"open-meteo", "x", "", ingest.Pass},
	} {
		t.Run(c.feed+" "+c.q, func(t *testing.T) {
			s := series(ingest.Discharge, time.Hour, 5)
			s.Feed, s.Qualifier = c.feed, []string{c.q}
			got, _ := Check(s, Default(ingest.Discharge, ingest.NoPeriod), Context{})
			if got.Flag[0] != c.want || got.FlagTest[0] != c.test {
				t.Errorf("flag %d by %q, want %d by %q", got.Flag[0], got.FlagTest[0], c.want, c.test)
			}
		})
	}
}

// TestAFlowBelowNoughtFails: real-time services send negative flows and levels;
// a level below its datum is honest.
func TestAFlowBelowNoughtFails(t *testing.T) {
	if got := flags(t, series(ingest.Discharge, time.Hour, 3, -0.1, 0), Default(ingest.Discharge, ingest.NoPeriod), Context{}); got != "141" {
		t.Errorf("flow: %s", got)
	}
	if got := flags(t, series(ingest.GaugeHeight, time.Hour, 0.2, -0.1, 0), Default(ingest.GaugeHeight, ingest.NoPeriod), Context{}); got != "111" {
		t.Errorf("level: %s", got)
	}
}

func TestOnlyPassAndSuspectMayBeUsed(t *testing.T) {
	s := series(ingest.WaterTemperature, time.Hour, 8, 35, 99, nan, 8)
	s.Qualifier = []string{"v", "w", "x", "y", "z"}
	if u := Usable(s); u.Len() != 0 {
		t.Errorf("an unchecked series has %d usable readings", u.Len())
	}
	c := only()
	c.Sensor, c.User = Range{-0.5, 40}, Range{0, 30}
	got, rep := Check(s, c, Context{})
	u := Usable(got)
	if err := u.Check(); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(u.Value, []float64{8, 35, 8}) || u.Flag[1] != ingest.Suspect || u.FlagTest[1] != TestGrossRange || u.Qualifier[2] != "z" {
		t.Errorf("got %v %v", u.Value, u.Flag)
	}
	if rep.Counts[ingest.Pass] != 2 || rep.Counts[ingest.Missing] != 1 || rep.Tests[TestGrossRange] != 2 {
		t.Errorf("report is %+v", rep)
	}
}

func TestAClimatologyIsLearntFromUsableYearsOnly(t *testing.T) {
	s := ingest.Series{Key: ingest.Key{Feed: "x", Site: "1", Variable: ingest.WaterTemperature, Statistic: ingest.Mean, Period: ingest.Daily}}
	for d := time.Date(2010, 1, 1, 0, 0, 0, 0, time.UTC); d.Year() < 2016; d = d.AddDate(0, 0, 1) {
		s.Time = append(s.Time, d.UnixMicro())
		s.Value = append(s.Value, 10-8*math.Cos(2*math.Pi*float64(d.YearDay())/365))
	}
	c := ClimatologyOf(s, 2)
	if c == nil || !(c.Days[200].Low > 10 && c.Days[200].High < 24) || !(c.Days[20].High < 9) || math.IsNaN(c.Days[60].Low) {
		t.Fatalf("got %+v", c)
	}
	short := s.Between(time.Time{}, time.Date(2013, 1, 1, 0, 0, 0, 0, time.UTC))
	if ClimatologyOf(short, 2) != nil {
		t.Error("three years made a climatology")
	}
	leap, common := time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC), time.Date(2023, 3, 1, 0, 0, 0, 0, time.UTC)
	if dayOf(leap) != dayOf(common) || dayOf(time.Date(2023, 12, 31, 0, 0, 0, 0, time.UTC)) != 366 {
		t.Error("dates have different numbers in leap years")
	}
}

// wild makes a series with everything that can go wrong.
func wild(r *rand.Rand) ingest.Series {
	n := r.IntN(300)
	s := ingest.Series{Key: ingest.Key{Feed: "usgs", Site: "1", Variable: ingest.WaterTemperature, Statistic: ingest.Instant}}
	at := start
	v := 10.0
	for range n {
		at = at.Add(time.Duration(1+r.IntN(40)) * time.Minute * time.Duration(1+9*(r.IntN(20)/19)))
		switch r.IntN(12) {
		case 0:
			v = math.Round(20*r.NormFloat64()*10) / 10
		case 1, 2, 3:
		default:
			v += math.Round(3*r.NormFloat64()) / 100
		}
		x := v
		if r.IntN(10) == 0 {
			x = nan
		}
		s.Time, s.Value = append(s.Time, at.UnixMicro()), append(s.Value, x)
		s.Qualifier = append(s.Qualifier, []string{"", "", "", "e", "Eqp"}[r.IntN(5)])
	}
	return s
}

func TestPropertiesOfAnyRun(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	c := Default(ingest.WaterTemperature, ingest.NoPeriod)
	c.FlatSuspect, c.FlatFail, c.FlatSuspectSpan, c.FlatFailSpan, c.FlatEPS = 3, 5, 0, 0, 0.045
	for range 3000 {
		s := wild(r)
		before := slices.Clone(s.Value)
		x := Context{Climatology: spring(), Air: &s}
		got, _ := Check(s, c, x)
		again, _ := Check(got, c, x)
		if !slices.Equal(got.Flag, again.Flag) || !slices.Equal(got.FlagTest, again.FlagTest) {
			t.Fatal("a second run changed the flags")
		}
		less := c
		less.SpikeHigh, less.FlatFail, less.RateSpan, less.OutOfWater = 0, 0, 0, OutOfWater{}
		fewer, _ := Check(s, less, Context{})
		for i, f := range got.Flag {
			switch {
			case math.IsNaN(s.Value[i]) != (f == ingest.Missing):
				t.Fatalf("value %g has flag %d", s.Value[i], f)
			case rank(f) < rank(fewer.Flag[i]):
				t.Fatalf("more tests bettered flag %d to %d", fewer.Flag[i], f)
			case (got.FlagTest[i] == "") != (f == ingest.Pass || f == ingest.NotEvaluated):
				t.Fatalf("flag %d was set by %q", f, got.FlagTest[i])
			}
			if s.Value[i] != before[i] && !math.IsNaN(before[i]) {
				t.Fatal("a value was changed")
			}
		}
		want := slow(s, c)
		alone, _ := Check(s, c, Context{})
		for i := range want {
			if alone.Flag[i] != want[i] {
				t.Fatalf("reading %d of %v: got %d by %q, the definitions give %d", i, s.Value, alone.Flag[i], alone.FlagTest[i], want[i])
			}
		}
	}
}

// slow applies the definitions word by word, without any running sum.
func slow(s ingest.Series, c Config) []ingest.Flag {
	n := s.Len()
	out := make([]ingest.Flag, n)
	worse := func(i int, f ingest.Flag) {
		if rank(f) > rank(out[i]) {
			out[i] = f
		}
	}
	words := map[string]ingest.Flag{"e": ingest.Suspect, "Eqp": ingest.Fail}
	for i, v := range s.Value {
		if out[i] = ingest.NotEvaluated; math.IsNaN(v) {
			continue
		}
		if f, ok := words[s.Qualifier[i]]; ok {
			worse(i, f)
		}
		switch {
		case v < c.Sensor.Low || v > c.Sensor.High:
			worse(i, ingest.Fail)
		case v < c.User.Low || v > c.User.High:
			worse(i, ingest.Suspect)
		default:
			worse(i, ingest.Pass)
		}
	}
	good := func() (idx []int) {
		for i := range n {
			if !math.IsNaN(s.Value[i]) && out[i] != ingest.Fail {
				idx = append(idx, i)
			}
		}
		return idx
	}
	near := func(a, b int) bool { return s.Time[b]-s.Time[a] <= c.Gap.Microseconds() }
	g := good()
	for k := 1; k+1 < len(g); k++ {
		a, b, d := g[k-1], g[k], g[k+1]
		if !near(a, b) || !near(b, d) {
			continue
		}
		height := math.Abs(s.Value[b]-(s.Value[a]+s.Value[d])/2) - math.Abs(s.Value[d]-s.Value[a])/2
		if height > c.SpikeHigh {
			worse(b, ingest.Fail)
		} else if height > c.SpikeLow {
			worse(b, ingest.Suspect)
		}
	}
	g = good()
	for k := 1; k < len(g); k++ {
		i, p := g[k], g[k-1]
		var w []float64
		for _, j := range g[:k] {
			if s.Time[j] >= s.Time[i]-c.RateSpan.Microseconds() {
				w = append(w, s.Value[j])
			}
		}
		if len(w) >= 5 && near(p, i) {
			m, q := 0.0, 0.0
			for _, v := range w {
				m += v / float64(len(w))
			}
			for _, v := range w {
				q += (v - m) * (v - m)
			}
			if math.Abs(s.Value[i]-s.Value[p]) > c.RateFloor+c.RateSD*math.Sqrt(q/float64(len(w)-1)) {
				worse(i, ingest.Suspect)
			}
		}
		run := 0
		for j := k - 1; j >= 0 && near(g[j], g[j+1]) && math.Abs(s.Value[g[j]]-s.Value[i]) < c.FlatEPS; j-- {
			run++
		}
		if s.Value[i] >= c.FlatExempt.Low && s.Value[i] <= c.FlatExempt.High {
			continue
		}
		if run >= c.FlatFail {
			worse(i, ingest.Fail)
		} else if run >= c.FlatSuspect {
			worse(i, ingest.Suspect)
		}
	}
	for i, v := range s.Value {
		if math.IsNaN(v) {
			out[i] = ingest.Missing
		}
	}
	return out
}

// BenchmarkCheck runs every test on ten years of quarter hours, beside the
// word-by-word computation on a hundredth of them.
func BenchmarkCheck(b *testing.B) {
	year := func(days int) (ingest.Series, Context) {
		w := swing(ingest.WaterTemperature, 15*time.Minute, days, 12, 3, 18)
		r := rand.New(rand.NewPCG(1, 2))
		for i := range w.Value {
			w.Value[i] = math.Round((w.Value[i]+0.05*r.NormFloat64())*10) / 10
		}
		w.Qualifier = slices.Repeat([]string{""}, w.Len())
		air := swing(ingest.AirTemperature, time.Hour, days, 15, 8, 15)
		return w, Context{Air: &air, Climatology: spring()}
	}
	c := Default(ingest.WaterTemperature, ingest.NoPeriod)
	b.Run("all tests", func(b *testing.B) {
		s, x := year(3650)
		b.ReportAllocs()
		for b.Loop() {
			Check(s, c, x)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(s.Len()), "ns/reading")
	})
	b.Run("word by word", func(b *testing.B) {
		s, _ := year(36)
		for b.Loop() {
			slow(s, c)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(s.Len()), "ns/reading")
	})
}
