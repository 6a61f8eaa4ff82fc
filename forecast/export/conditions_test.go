package export

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// A file may be read weeks after it was written. A level stands on the one day on
// which it was judged, with the moment at which it ends; every other day is unknown,
// and so is that day where the level had ended already.
func TestALevelStandsOnItsOwnDayOnly(t *testing.T) {
	o := outlook("wend", 60)
	zone := forecast.ZoneOf(o.Zone)
	at := time.Date(2026, 5, 4, 12, 0, 0, 0, zone)
	level := func(c wading.Caution) (codes []string, until time.Time) {
		t.Helper()
		for r := range (Conditions{Caution: c}).Flatten(o, 0, 0) {
			if r.Group != "spring-olive" || r.Stage != string(forecast.Emergence) {
				continue
			}
			if r.Day == day("2026-05-04") {
				codes, until = append(codes, r.CautionLevel), r.CautionUntil
			} else if r.CautionLevel != "unknown" || !r.CautionRead.IsZero() || !r.CautionUntil.IsZero() {
				t.Fatalf("%s has the level %s until %s", r.Day, r.CautionLevel, r.CautionUntil)
			}
		}
		return codes, until
	}
	for name, c := range map[string]struct {
		caution wading.Caution
		want    string
		until   time.Time
	}{
		"known":               {wading.Caution{At: at, Zone: zone, Until: at.Add(3 * time.Hour), Known: true, Level: wading.Care}, "1", at.Add(3 * time.Hour)},
		"known and the best":  {wading.Caution{At: at, Zone: zone, Until: at.Add(3 * time.Hour), Known: true}, "0", at.Add(3 * time.Hour)},
		"ended already":       {wading.Caution{At: at, Zone: zone, Until: at, Known: true}, "unknown", time.Time{}},
		"ended, with a floor": {wading.Caution{At: at, Zone: zone, Until: at, Known: true, Level: wading.BetterNot}, "unknown-at-least-2", time.Time{}},
		"a floor":             {wading.Caution{At: at, Zone: zone, Until: at.Add(time.Hour), Level: wading.KeepOut}, "unknown-at-least-3", at.Add(time.Hour)},
		"nothing":             {wading.Caution{}, "unknown", time.Time{}},
		"without a zone":      {wading.Caution{At: at, Until: at.Add(time.Hour), Known: true}, "unknown", time.Time{}},
	} {
		if got, until := level(c.caution); !slices.Equal(got, []string{c.want}) || !until.Equal(c.until) {
			t.Errorf("%s: %v until %v, want %s until %v", name, got, until, c.want, c.until)
		}
	}
	flow, height := wading.Reading{Present: true, Age: 20 * time.Minute}, wading.Reading{Present: true, Age: time.Hour}
	for name, c := range map[string]struct {
		flow, height wading.Reading
		want         time.Time
	}{
		"both": {flow, height, at.Add(-20 * time.Minute)}, "height alone": {wading.Reading{}, height, at.Add(-time.Hour)}, "neither": {},
	} {
		for r := range (Conditions{Caution: wading.Caution{At: at, Zone: zone, Until: at.Add(time.Hour), Flow: c.flow, Stage: c.height}}).Flatten(o, 0, 0) {
			if r.Day == day("2026-05-04") && !r.CautionRead.Equal(c.want) {
				t.Fatalf("%s: read at %s, not %s", name, r.CautionRead, c.want)
			}
		}
	}
	rows := rowsOf(o)
	rows[4].CautionLevel = ""
	if _, err := Write(new(strings.Builder), CSV, meta, Rows(rows)); err == nil {
		t.Error("a row without a level was written")
	}
}

// What was measured since the issue stands beside what was forecast.
func TestMeasuredDaysStandBesideTheForecast(t *testing.T) {
	o := outlook("wend", 60)
	rec := measured(o)
	rec.Flow[1] = math.NaN()
	seen := 0
	for r := range (Conditions{Known: rec}).Flatten(o, o.IssueDate()-1, o.IssueDate()+3) {
		i := int(r.Day - o.IssueDate())
		if i < 0 || i > 2 {
			if !math.IsNaN(r.WaterObservedC) || !math.IsNaN(r.FlowObservedM3s) {
				t.Errorf("%s was measured: %v, %v", r.Day, r.WaterObservedC, r.FlowObservedM3s)
			}
			continue
		}
		seen++
		if math.Abs(r.WaterObservedC-(r.WaterC[1]+0.5)) > 1e-9 || (i == 1) != math.IsNaN(r.FlowObservedM3s) || i != 1 && math.Abs(r.FlowObservedM3s-(r.FlowM3s[1]-1)) > 1e-9 {
			t.Errorf("%s: water %v of %v, flow %v of %v", r.Day, r.WaterObservedC, r.WaterC[1], r.FlowObservedM3s, r.FlowM3s[1])
		}
	}
	if seen == 0 {
		t.Error("no day was measured")
	}
}

// What codes mean stands once, in the description of their column, and no window of the
// catalogue has words for a code.
func TestSentencesStandInTheDescription(t *testing.T) {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, g := range c.Groups() {
		for _, region := range insects.Regions {
			for _, stage := range []insects.Stage{insects.Emergence, insects.EggLaying} {
				w, ok := g.Window(region, stage)
				if !ok {
					continue
				}
				n++
				if s := w.BasisCode(); strings.Contains(s, " ") {
					t.Errorf("%q has no code", s)
				}
			}
		}
	}
	if n < 500 {
		t.Errorf("%d windows: the catalogue was not read", n)
	}
	meant := map[string]string{"water_source": "fitted-short = model fitted here, less", "weather_source": "none = none; past", "window_basis": "one-reach = one reach",
		"grade": "derived = derived from", "flow_source": "withheld = not forecast", "caution_level": "3 = keep out of the water"}
	for _, c := range Outlooks.Columns {
		if want, ok := meant[c.Name]; ok && !strings.Contains(c.Long, want) {
			t.Errorf("%s does not say %q: %s", c.Name, want, c.Long)
		}
	}
}
