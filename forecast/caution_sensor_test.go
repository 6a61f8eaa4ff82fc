package forecast

import (
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/model/wading"
)

func TestEveryGaugeOfARiverIsJudged(t *testing.T) {
	s := newShore(t)
	for _, site := range []string{"1", "2"} {
		s.readings(site, ingest.Discharge, justNow, 4, 4, 4, 4)
		s.record(site, 1, 12)
	}
	s.readings("1", ingest.WaterTemperature, justNow, 17)
	s.visits("1", 1, 8, decade...)
	in, c := s.caution(banks("1", "2", "1"))
	if len(in.Beside) != 1 || in.Beside[0].Gauge != "2" || !c.Known || c.Level != wading.Quiet {
		t.Fatalf("%d beside, level %d, known %t:\n%s", len(in.Beside), c.Level, c.Known, c.Format(wading.Metric))
	}
	s.readings("2", ingest.Discharge, justNow.Add(time.Minute), 4, 4, 9)
	if _, c := s.caution(banks("1", "2")); !c.Known || c.Level != wading.KeepOut || !strings.Contains(c.Format(wading.Metric), "gauge 2: the water is rising") {
		t.Errorf("a rise at the second gauge:\n%s", c.Format(wading.Metric))
	}
	// The heights of floods in the config are those of the first gauge.
	s.readings("3", ingest.GaugeHeight, justNow, 5)
	r := banks("1", "3")
	r.Flood = wading.Flood{ActionM: 2, MinorM: math.NaN(), ModerateM: math.NaN(), MajorM: math.NaN()}
	s.readings("1", ingest.GaugeHeight, justNow, 0.8)
	if in, c := s.caution(r); len(in.Beside) != 1 || !in.Beside[0].StageOnly || c.Level == wading.KeepOut {
		t.Errorf("%+v\n%s", in.Beside, c.Format(wading.Metric))
	}
	// One that gave nothing for a month, or never, is no gauge any more.
	s.readings("4", ingest.Discharge, look.AddDate(0, 0, -31), 4)
	if in, _ := s.caution(banks("1", "4", "5")); len(in.Beside) != 0 {
		t.Errorf("%+v", in.Beside)
	}
}

func TestEverySensorOfAGaugeIsJudged(t *testing.T) {
	for _, v := range []ingest.Variable{ingest.Discharge, ingest.GaugeHeight} {
		s := newShore(t)
		s.readings("1", ingest.Discharge, justNow, 4, 4, 4, 4)
		s.readings("1", ingest.GaugeHeight, justNow, 0.8, 0.8)
		k := s.key("1", v)
		k.TimeSeries = "second"
		values := make([]float64, 200)
		for i := range values {
			values[i] = 1 + 0.001*float64(i%5)
		}
		values[199] = 3
		s.put(inventSeries(k, look.Add(-200*time.Hour), time.Hour, values), look)
		in, c := s.caution(banks("1"))
		if len(in.Beside) != 1 || in.Beside[0].Gauge != "" || c.Level != wading.KeepOut {
			t.Errorf("%s: %d beside, level %d:\n%s", v, len(in.Beside), c.Level, c.Format(wading.Metric))
		}
		if in.Flow.Value == 3 || in.Stage.Value == 3 {
			t.Errorf("%s: the older one comes first", v)
		}
	}
}

func TestAClockThatIsAhead(t *testing.T) {
	for _, c := range []struct {
		ahead   time.Duration
		known   bool // to the store before it was asked
		trouble bool
	}{{5 * time.Minute, true, false}, {15 * time.Minute, true, true}, {23 * time.Hour, true, true}, {25 * time.Hour, true, false}, {40 * 24 * time.Hour, true, false}, {23 * time.Hour, false, false}} {
		s := newShore(t)
		retrieved := look
		if !c.known {
			retrieved = look.AddDate(0, 1, 0) // of a forecast made later for this moment
		}
		values := make([]float64, 8*24)
		for i := range values {
			values[i] = 4 + 0.001*float64(i%5)
		}
		put := func(v ingest.Variable, to time.Time) {
			s.put(inventSeries(s.key("1", v), to.Add(-time.Duration(len(values)-1)*time.Hour), time.Hour, values), retrieved)
		}
		put(ingest.Discharge, justNow)
		line := inventSeries(s.key("1", ingest.Discharge), look.Add(c.ahead), time.Hour, []float64{4})
		s.put(line, retrieved)
		in, caution := s.caution(banks("1"))
		told := strings.Contains(caution.Format(wading.Metric), "a clock is wrong")
		if told != c.trouble || (in.Flow.Age < 0) != (c.ahead <= clockAhead && c.known) {
			t.Errorf("%v ahead, known then: %t: told %t, age %v", c.ahead, c.known, told, in.Flow.Age)
		}
	}
}

// A word in the place of a newer reading is a reason to doubt; that nothing came is
// none until the last one is too old.
func TestAWordInPlaceOfAReading(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		values []float64
		words  []string
		doubt  string
	}{
		{[]float64{4, nan}, []string{"", "Eqp"}, `the gauge sends "Eqp" instead of a newer one`},
		{[]float64{4, nan, 4}, []string{"", "Eqp", ""}, ""},
		{[]float64{4, nan, nan}, []string{"", "Eqp", ""}, `the gauge sends "Eqp" instead of a newer one`},
		{[]float64{4, nan}, []string{"", "NaN"}, ""},
		{[]float64{4, nan}, []string{"", ""}, ""},
		{[]float64{4, 4}, []string{"", ingest.TwoValues}, ingest.TwoValues},
		{[]float64{4, 4}, []string{ingest.TwoValues, ""}, ""},
		{[]float64{4, nan}, []string{"ice", "Eqp"}, "ice"},
	} {
		g := gatherer{issue: look}
		x := inventSeries(ingest.Key{Variable: ingest.Discharge}, justNow.Add(-time.Duration(len(c.values)-1)*time.Minute), time.Minute, c.values)
		x.Qualifier, x.Flag = c.words, nil
		if got, ok := g.sensorOf(x); !ok || got.last.Doubt != c.doubt {
			t.Errorf("%v %q: %q", c.values, c.words, got.last.Doubt)
		}
	}
}

func TestTheFreshestThermometerOfARiverCounts(t *testing.T) {
	for fresh, want := range map[string]float64{"1": 17, "2": 9} {
		s := newShore(t)
		for site, c := range map[string]float64{"1": 17, "2": 9} {
			at := look.Add(-time.Hour)
			if site == fresh {
				at = justNow
			}
			s.readings(site, ingest.WaterTemperature, at, c)
		}
		if in, _ := s.caution(banks("1", "2")); in.Water.Value != want {
			t.Errorf("%s is the freshest: %+v", fresh, in.Water)
		}
	}
}
