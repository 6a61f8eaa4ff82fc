package forecast

import (
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

var (
	look    = time.Date(2026, 5, 20, 12, 0, 0, 0, time.UTC)
	justNow = look.Add(-time.Minute)
)

// shore is an invented store of a few gauges, filled series by series.
type shore struct {
	*testing.T
	store *series.Store
}

func newShore(t *testing.T) shore {
	t.Helper()
	store, err := series.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() }) // a test's folder
	return shore{t, store}
}

func (s shore) key(site string, v ingest.Variable) ingest.Key {
	return ingest.Key{Feed: "usgs", Site: site, Variable: v, Statistic: ingest.Instant}
}

func (s shore) put(x ingest.Series, retrieved time.Time) {
	s.Helper()
	if _, err := s.store.Put(s.Context(), x, retrieved); err != nil {
		s.Fatal(err)
	}
}

// readings puts values of a gauge, hour by hour, the last at a moment. Of flow and
// height there is a week and a day before them, about the first of them.
func (s shore) readings(site string, v ingest.Variable, last time.Time, values ...float64) {
	s.Helper()
	if v != ingest.WaterTemperature {
		var week []float64
		for h := range 8 * 24 {
			week = append(week, values[0]*(1+0.001*float64(h%5)))
		}
		values = append(week, values...)
	}
	s.put(inventSeries(s.key(site, v), last.Add(-time.Duration(len(values)-1)*time.Hour), time.Hour, values), look)
}

// visits puts a gauger's visits at flows; up to a flow the gauger waded. The
// section is invented: width 20 q^0.12 m, speed 0.22 q^0.42 m/s.
func (s shore) visits(site string, scale, wadedTo float64, flows ...float64) (at []time.Time) {
	s.Helper()
	cols := map[ingest.Variable][]float64{}
	var how []string
	for i, q := range flows {
		at = append(at, look.AddDate(0, -3*(len(flows)-i), 0))
		v := 0.22 * math.Pow(q, 0.42)
		cols[ingest.Discharge] = append(cols[ingest.Discharge], q)
		cols[ingest.ChannelWidth] = append(cols[ingest.ChannelWidth], scale*20*math.Pow(q, 0.12))
		cols[ingest.ChannelVelocity] = append(cols[ingest.ChannelVelocity], v)
		cols[ingest.ChannelArea] = append(cols[ingest.ChannelArea], q/v)
		h := "BridgeDownstreamSide"
		if q <= wadedTo {
			h = "Wading"
		}
		how = append(how, h)
	}
	for v, values := range cols {
		k := s.key(site, v)
		k.TimeSeries = "channel-measurements main"
		x := inventSeries(k, look, 0, values)
		for i := range at {
			x.Time[i] = at[i].UnixMicro()
		}
		x.Qualifier = how
		s.put(x, look)
	}
	return at
}

// record puts a year of daily flows of a gauge, ending two months ago.
func (s shore) record(site string, low, high float64) {
	s.Helper()
	var flows []float64
	for d := range 400 {
		flows = append(flows, low+(high-low)*float64(d%100)/99)
	}
	k := s.key(site, ingest.Discharge)
	k.Statistic, k.Period = ingest.Mean, ingest.Daily
	x := inventSeries(k, look.Truncate(24*time.Hour).AddDate(0, -2, -400), 24*time.Hour, flows)
	s.put(x, look)
	got, err := s.store.Read(s.Context(), k, series.Query{})
	if err != nil {
		s.Fatal(err)
	}
	got.Flag, got.FlagTest = make([]ingest.Flag, got.Len()), make([]string, got.Len())
	for i := range got.Flag {
		got.Flag[i] = ingest.Pass
	}
	if _, err := s.store.SetFlags(s.Context(), got); err != nil {
		s.Fatal(err)
	}
}

func (s shore) caution(r River) (wading.Input, wading.Caution) {
	s.Helper()
	in, err := CautionInput(s.Context(), s.store, r, look)
	if err != nil {
		s.Fatal(err)
	}
	return in, wading.Assess(in)
}

var decade = []float64{1, 1.5, 2, 3, 4, 5, 6, 8, 10, 14, 20, 30}

func banks(sites ...string) River {
	r := beck
	r.Gauges, r.Lon = nil, 0 // where look is noon
	for _, site := range sites {
		r.Gauges = append(r.Gauges, FeedSite{"usgs", site})
	}
	return r
}

func TestAGaugeIsReadForTheCaution(t *testing.T) {
	s := newShore(t)
	s.readings("1", ingest.Discharge, look.Add(-time.Hour), 4, 4, 4, 4)
	s.readings("1", ingest.GaugeHeight, look.Add(-30*time.Minute), 0.8, 0.8)
	s.readings("1", ingest.WaterTemperature, look.Add(-time.Hour), 17)
	s.visits("1", 1, 8, decade...)
	s.record("1", 1, 12)
	in, c := s.caution(banks("1"))
	if in.Geometry == nil || in.Geometry.N != len(decade) || in.CeilingM3s != 8 || in.CeilingVisits != 8 || in.StageOnly {
		t.Fatalf("%+v", in)
	}
	if in.Flow.Age != time.Hour || in.Stage.Age != 30*time.Minute || len(in.FlowPast) != 8*24+4 || len(in.StagePast) != 8*24+2 {
		t.Errorf("flow %+v, stage %+v, %d and %d readings before", in.Flow, in.Stage, len(in.FlowPast), len(in.StagePast))
	}
	// Nobody said where floods begin here: the height alone asks for nothing.
	if !c.Known || c.Level != wading.Quiet {
		t.Errorf("level %d, known %t:\n%s", c.Level, c.Known, c.Format(wading.Metric))
	}

	r := banks("1")
	r.Flood = wading.Flood{ActionM: 0.7, MinorM: 2, ModerateM: math.NaN(), MajorM: math.NaN()}
	if _, c := s.caution(r); c.Level != wading.KeepOut || !strings.Contains(c.Format(wading.Metric), "action") {
		t.Errorf("above the action height:\n%s", c.Format(wading.Metric))
	}

	s.readings("1", ingest.Discharge, justNow, 9)
	if _, c := s.caution(banks("1")); c.Level < wading.BetterNot || !strings.Contains(c.Format(wading.Metric), "highest of 8 visits") {
		t.Errorf("more than the gaugers waded at:\n%s", c.Format(wading.Metric))
	}
}

func TestNoGaugeStandsInForAnother(t *testing.T) {
	s := newShore(t)
	s.readings("1", ingest.WaterTemperature, justNow, 17)
	s.readings("2", ingest.Discharge, look.Add(-3*time.Hour), 40, 40, 40)
	s.readings("3", ingest.Discharge, justNow, 1, 1, 1)
	s.visits("2", 1, 0, decade...)
	s.visits("3", 5, 0, decade...)
	in, c := s.caution(banks("1", "2", "3"))
	if c.Known || c.Level != wading.KeepOut && c.Level != wading.BetterNot {
		t.Errorf("the gauge is silent and was last high, and the next one is calm: level %d, known %t", c.Level, c.Known)
	}
	if in.Flow.Value != 40 || len(in.FlowPast) != 8*24+3 || math.Abs(in.Geometry.Width.Coef-20) > 0.1 {
		t.Errorf("mixed with another gauge: flow %g, %d readings before, width %.1f", in.Flow.Value, len(in.FlowPast), in.Geometry.Width.Coef)
	}
	if !in.Water.Present {
		t.Error("any gauge's thermometer will do, and was not read")
	}
}

func TestAGaugeWithoutFlowIsJudgedByItsHeight(t *testing.T) {
	s := newShore(t)
	at := s.visits("1", 1, 0, decade...)
	height := func(q float64) float64 { return 0.3 + 0.3*math.Pow(q, 0.4) }
	for i, q := range decade {
		x := inventSeries(s.key("1", ingest.GaugeHeight), at[i].Add(-50*time.Minute), 40*time.Minute, []float64{9, height(q), 9})
		s.put(x, look)
	}
	s.readings("1", ingest.WaterTemperature, justNow, 17)
	for _, tc := range []struct {
		flow float64
		want wading.Level
	}{{3, wading.Quiet}, {27, wading.KeepOut}} {
		s.readings("1", ingest.GaugeHeight, justNow, height(tc.flow))
		in, c := s.caution(banks("1"))
		if !in.StageOnly || in.StageFit == nil || in.StageFit.N != len(decade) || !c.Known || c.Level != tc.want {
			t.Errorf("at the height of %g m3/s: fit %+v, level %d, want %d, known %t", tc.flow, in.StageFit, c.Level, tc.want, c.Known)
		}
	}
}

func TestAReadingInDoubtIsNotPassedOverForAnOlderOne(t *testing.T) {
	for _, tc := range []struct {
		qualifier string
		flag      ingest.Flag
		test      string
		want      string
	}{
		{"P,ICE", ingest.Pass, "", "ice"},
		{"", ingest.Fail, "gross range", "failed check gross range"},
		{"", ingest.Suspect, "spike", "suspect by check spike"},
		{"", ingest.Suspect, "rate of change", "suspect by check rate of change"},
		{"", ingest.Suspect, "ice", "suspect by check ice"},
		{"e", ingest.Suspect, "agency", ""},
		{"", ingest.Suspect, "climatology", ""},
	} {
		s := newShore(t)
		x := inventSeries(s.key("1", ingest.Discharge), justNow.Add(-time.Hour), time.Hour, []float64{3, 3.1})
		x.Qualifier = []string{"", tc.qualifier}
		s.put(x, look)
		got, err := s.store.Read(t.Context(), x.Key, series.Query{})
		if err != nil {
			t.Fatal(err)
		}
		got.Flag, got.FlagTest = []ingest.Flag{ingest.Pass, tc.flag}, []string{"", tc.test}
		if _, err := s.store.SetFlags(t.Context(), got); err != nil {
			t.Fatal(err)
		}
		s.visits("1", 1, 0, decade...)
		in, c := s.caution(banks("1"))
		if in.Flow.Age != time.Minute || (in.Flow.Doubt != "") != (tc.want != "") || !strings.Contains(in.Flow.Doubt, tc.want) || c.Known || c.Doubted != (tc.want != "") {
			t.Errorf("%+v: %+v, known %t", tc, in.Flow, c.Known)
		}
	}
}

func TestThunderIsOfAFreshForecast(t *testing.T) {
	r := banks("1")
	r.Weather = &FeedSite{"nws", "45.2,-131.4"}
	k := ingest.Key{Feed: "nws", Site: "45.2,-131.4", Variable: ingest.ThunderProbability, Statistic: ingest.Instant, TimeSeries: "forecast"}
	day := make([]float64, 48)
	day[8], day[13], day[30] = 70, 95, 90
	for _, tc := range []struct {
		what      string
		retrieved time.Time
		want      float64 // below 0: not known
	}{
		{"fresh", look.Add(-time.Hour), 0.7},
		{"23 hours old", look.Add(-23 * time.Hour), 0.7},
		{"25 hours old", look.Add(-25 * time.Hour), -1},
		{"two days old", look.AddDate(0, 0, -2), -1},
		{"retrieved later", look.Add(time.Hour), -1},
	} {
		s := newShore(t)
		s.put(inventSeries(k, look.Truncate(time.Hour), time.Hour, day), tc.retrieved)
		in, c := s.caution(r)
		got := -1.0
		if in.Thunder.P != nil && !in.Thunder.Old {
			got = *in.Thunder.P
		}
		if got != tc.want {
			t.Errorf("%s: %g, want %g", tc.what, got, tc.want)
		}
		if said := strings.Contains(c.Format(wading.US), "unknown: chance of thunder"); said != (tc.want < 0) {
			t.Errorf("%s: %s", tc.what, c.Format(wading.US))
		}
	}
}

func TestTheDarkestOfTheHoursShown(t *testing.T) {
	// At 54.5 north, 2.9 west on 20 May 2026 the sun sets at 21:15 BST, and it is
	// dark by 21:57.
	d := DateOf(time.Date(2026, 5, 20, 0, 0, 0, 0, time.UTC))
	for hours, want := range map[string]wading.Light{
		"10:00-16:00": wading.Daylight, "18:00-21:10": wading.Daylight, "18:00-21:30": wading.Dusk, "18:00-22:30": wading.Night,
		"03:00-10:00": wading.Night, "06:00-10:00 and 19:00-21:40": wading.Dusk, "22:00-01:00": wading.Night, "": wading.Daylight, "evening": wading.Daylight,
	} {
		if got := DarkestOf(hoursOf(hours), d, "Europe/London", 54.5, -2.9); got != want {
			t.Errorf("%q: %d, want %d", hours, got, want)
		}
	}
}

// A sensor that has been silent for a month counts as taken away; until then its
// last reading holds the level.
func TestALastReadingHoldsTheLevelForAMonth(t *testing.T) {
	for _, tc := range []struct {
		days  int
		level wading.Level
	}{{1, wading.KeepOut}, {29, wading.KeepOut}, {31, wading.Care}} {
		s := newShore(t)
		s.readings("1", ingest.Discharge, look.AddDate(0, 0, -tc.days), 40, 40)
		s.visits("1", 1, 0, decade...)
		if _, c := s.caution(banks("1")); c.Level != tc.level || c.Known {
			t.Errorf("after %d days: level %d, want %d, known %t", tc.days, c.Level, tc.level, c.Known)
		}
	}
}

// days puts daily mean flows of a gauge, all of them passed, from a day on.
func (s shore) days(site string, from time.Time, flows []float64) {
	s.Helper()
	k := s.key(site, ingest.Discharge)
	k.Statistic, k.Period = ingest.Mean, ingest.Daily
	s.put(inventSeries(k, from, 24*time.Hour, flows), look.AddDate(-1, 0, 0))
	got, err := s.store.Read(s.Context(), k, series.Query{})
	if err != nil {
		s.Fatal(err)
	}
	got.Flag, got.FlagTest = make([]ingest.Flag, got.Len()), make([]string, got.Len())
	for i := range got.Flag {
		got.Flag[i] = ingest.Pass
		if math.IsNaN(got.Value[i]) {
			got.Flag[i] = ingest.Missing
		}
	}
	if _, err := s.store.SetFlags(s.Context(), got); err != nil {
		s.Fatal(err)
	}
}

func TestTheRecordOfAGauge(t *testing.T) {
	for _, at := range []time.Time{look, time.Date(2026, 1, 3, 12, 0, 0, 0, time.UTC), time.Date(2025, 12, 30, 12, 0, 0, 0, time.UTC)} {
		s := newShore(t)
		from := time.Date(at.Year()-6, at.Month(), at.Day(), 0, 0, 0, 0, time.UTC).AddDate(0, 0, -100)
		n := int(at.Sub(from).Hours() / 24)
		flows := make([]float64, n) // the last of them yesterday
		for i := range flows {
			d := from.AddDate(0, 0, i)
			flows[i] = 50 + float64(i%2)
			for y := at.Year() - 7; y <= at.Year(); y++ {
				if gap := d.Sub(time.Date(y, at.Month(), at.Day(), 0, 0, 0, 0, time.UTC)).Hours() / 24; math.Abs(gap) <= seasonWindow {
					flows[i] = 10 + 0.1*float64(i%2) // this time of the year
				}
			}
		}
		ago := func(days int) *float64 { return &flows[n-days] }
		for k := range 6 {
			*ago(200 + k) = 60
		}
		*ago(20), *ago(29), *ago(31), *ago(400), *ago(500) = 900, 800, 70, 3, math.NaN()
		s.days("1", from, flows)
		s.readings("1", ingest.Discharge, at.Add(-time.Minute), 12)
		in, err := CautionInput(t.Context(), s.store, banks("1"), at)
		if err != nil {
			t.Fatal(err)
		}
		if in.Years != 6 {
			t.Errorf("at %s: %d years", at, in.Years)
		}
		if want := 6 * (2*seasonWindow + 1); len(in.Season) < want-4 || len(in.Season) > want+4 {
			t.Errorf("at %s: %d days of past seasons, want about %d", at, len(in.Season), want)
		}
		for _, q := range in.Season {
			if q > 11 && q != 50 && q != 51 || q < 9 {
				t.Errorf("at %s: %g is not of this time of the year", at, q)
			}
		}
		if r := in.Record; r.HighM3s != 70 || r.LowM3s != 3 || r.StuckDays != 6 || r.Days != n-30-1 || r.VisitShare != 0 {
			t.Errorf("at %s: %+v of %d days", at, r, n)
		}
	}
}

func TestAGaugeIsComparedWithTheGaugersVisits(t *testing.T) {
	for _, c := range []struct {
		visits []float64
		want   float64
	}{{[]float64{2, 2, 2.5}, 2}, {[]float64{2, 2}, 0}, {[]float64{2, 1, 4, -1}, 2}, {[]float64{2, 2, -1, -1}, 0}, {[]float64{2, 2, 7}, 0}} {
		s := newShore(t)
		at := s.visits("1", 1, 0, c.visits...)
		var flows []float64
		from := look.Truncate(24*time.Hour).AddDate(-2, 0, 0)
		for d := from; d.Before(look.AddDate(0, -1, 0)); d = d.AddDate(0, 0, 1) {
			q := 30.0
			for i, v := range at {
				if v.Truncate(24 * time.Hour).Equal(d) {
					q = 2 * 2
					if c.visits[i] == 1 {
						q = 3 // three times what was measured
					}
					if c.visits[i] == 7 {
						q = 0 // the gauge stood dry
					}
				}
			}
			flows = append(flows, q)
		}
		s.days("1", from, flows)
		s.readings("1", ingest.Discharge, justNow, 12)
		if in, _ := s.caution(banks("1")); in.Record.VisitShare != c.want {
			t.Errorf("visits at %v: share %g, want %g", c.visits, in.Record.VisitShare, c.want)
		}
	}
}

func TestWhichReadingsAreTheLast(t *testing.T) {
	s := newShore(t)
	daily := s.key("1", ingest.Discharge)
	daily.Statistic, daily.Period = ingest.Mean, ingest.Daily
	s.put(inventSeries(daily, look.Add(-26*time.Hour-9*24*time.Hour), 24*time.Hour, []float64{4, 5, 4, 5, 4, 5, 4, 5, 4, 6}), look)
	high := s.key("1", ingest.Discharge)
	high.Statistic = ingest.Max
	s.put(inventSeries(high, justNow, time.Hour, []float64{99}), look)
	if in, _ := s.caution(banks("1")); in.Flow.Value != 6 || in.Flow.Age != 2*time.Hour || !in.Flow.Daily {
		t.Errorf("of a daily mean: %+v", in.Flow)
	}
	s.readings("1", ingest.Discharge, look.Add(-3*time.Hour), 7)
	if in, c := s.caution(banks("1")); in.Flow.Value != 7 || c.Known {
		t.Errorf("a daily mean stands in for a sensor that fell silent: %+v", in.Flow)
	}
	s.readings("1", ingest.Discharge, justNow, 8)
	if in, _ := s.caution(banks("1")); in.Flow.Value != 8 || in.Flow.Daily {
		t.Errorf("a newer one does not: %+v", in.Flow)
	}
}

func TestWhichFlagsMakeAReadingDoubted(t *testing.T) {
	for _, c := range []struct {
		v       ingest.Variable
		flag    ingest.Flag
		test    string
		doubted bool
	}{
		{ingest.GaugeHeight, ingest.Suspect, "spike", true}, {ingest.GaugeHeight, ingest.Suspect, "ice", true}, {ingest.Discharge, ingest.Suspect, "rate of change", true},
		{ingest.Discharge, ingest.Suspect, "flat line", false}, {ingest.WaterTemperature, ingest.Suspect, "spike", false}, {ingest.WaterTemperature, ingest.Fail, "spike", true},
		{ingest.Discharge, ingest.Pass, "spike", false}, {ingest.GaugeHeight, ingest.NotEvaluated, "", false},
	} {
		s := ingest.Series{Key: ingest.Key{Variable: c.v}, Flag: []ingest.Flag{c.flag}, FlagTest: []string{c.test}}
		if got := doubt(s, 0); (got != "") != c.doubted {
			t.Errorf("%+v: %q", c, got)
		}
	}
}

func TestAHeightBelongsToAVisitWithinHalfAnHour(t *testing.T) {
	for off, fits := range map[time.Duration]bool{29 * time.Minute: true, 31 * time.Minute: false} {
		s := newShore(t)
		at := s.visits("1", 1, 0, decade...)
		for i, q := range decade {
			s.put(inventSeries(s.key("1", ingest.GaugeHeight), at[i].Add(off), time.Hour, []float64{0.3 + 0.3*math.Pow(q, 0.4)}), look)
		}
		s.readings("1", ingest.GaugeHeight, justNow, 1)
		if in, _ := s.caution(banks("1")); (in.StageFit != nil) != fits {
			t.Errorf("heights %v from the visits: fit %+v", off, in.StageFit)
		}
		got, err := s.store.Read(t.Context(), s.key("1", ingest.GaugeHeight), series.Query{})
		if err != nil {
			t.Fatal(err)
		}
		got.Flag, got.FlagTest = make([]ingest.Flag, got.Len()), make([]string, got.Len())
		for i := range got.Flag {
			got.Flag[i] = ingest.Fail
		}
		if _, err := s.store.SetFlags(t.Context(), got); err != nil {
			t.Fatal(err)
		}
		if in, _ := s.caution(banks("1")); in.StageFit != nil {
			t.Error("heights that failed their checks belong to visits")
		}
	}
}
