package forecast

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/model/flow"
	"example.org/eclose/model/wading"
)

var flowIssue = time.Date(2026, 5, 18, 18, 20, 0, 0, time.UTC)

// Official forecasts come out of the store as they were retrieved, day by day, into the
// outlook: a spate that the agency sees is in the flow ahead and in the chance of
// fishable flow, and a stale one is not.
func TestAnOfficialSpateReachesTheOutlook(t *testing.T) {
	r := beck
	r.Fishable = flow.Range{LowM3s: 5, HighM3s: 40}
	r.FlowAhead = []FeedSite{{"nwps", "99"}}
	issue := func(retrieved time.Time, with bool) *Outlook {
		store := inventStore(t, flowIssue, flowIssue, 4, 3, 5)
		if with {
			for m := 1; m <= 6; m++ {
				v := make([]float64, 10*24)
				for h := range v {
					v[h] = 30 + 150*math.Exp(-math.Pow(float64(h-96)/30, 2)) + float64(m)
				}
				k := ingest.Key{Feed: "nwps", Site: "99", Variable: ingest.Discharge, Statistic: ingest.Instant, TimeSeries: "forecast", Member: m}
				from := time.Date(2026, 5, 18, 6, 0, 0, 0, time.UTC) // midnight at the river
				if _, err := store.Put(context.Background(), inventSeries(k, from, time.Hour, v), retrieved); err != nil {
					t.Fatal(err)
				}
			}
		}
		o, err := Issue(context.Background(), store, r, catalogue(t), flowIssue, Options{Members: 60, Ahead: 60})
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	plain, spate, stale := issue(flowIssue, false), issue(flowIssue.Add(-time.Hour), true), issue(flowIssue.Add(-40*time.Hour), true)
	if plain.Flow.Source != FlowStatistics || spate.Flow.Source != FlowJoined {
		t.Fatalf("sources %q and %q", plain.Flow.Source, spate.Flow.Source)
	}
	if p, s := plain.Flow.Days[4], spate.Flow.Days[4]; s.P50 < 2*p.P50 || *s.Fishable > 0.3 || *p.Fishable < 0.7 {
		t.Errorf("five days on: median %.1f m3/s, with the spate %.1f; fishable %.2f and %.2f", p.P50, s.P50, *p.Fishable, *s.Fishable)
	}
	if stale.Flow.Source != FlowStatistics {
		t.Errorf("a forecast of the day before yesterday is used: %q", stale.Flow.Source)
	}
	if c := spate.Flow.coloured(); c < 0.5 {
		t.Errorf("a rise fivefold makes a chance of %.2f of coloured water", c)
	}
	text := strings.Join(spate.Flow.Lines(wading.US), " ")
	for _, want := range []string{"rising", "official forecast", "within your fishable range", "colours the water", "cfs"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not said: %s", want, text)
		}
	}
	for _, never := range []string{"safe", "wade", "clear", "normal"} {
		if strings.Contains(text, never) {
			t.Errorf("%q is said: %s", never, text)
		}
	}
	// Water temperature takes the flow of its own member: a flood of melt and rain
	// leaves another water than a falling river.
	if slices.EqualFunc(plain.Water, spate.Water, func(a, b WaterDay) bool { return a.P50 == b.P50 }) {
		t.Error("the flow ahead does not reach the water temperature")
	}
	// Below a dam too, as far as the official forecast reaches.
	r.Regulated = true
	plain, spate = issue(flowIssue, false), issue(flowIssue.Add(-time.Hour), true)
	if plain.Flow.Source != FlowWithheld || spate.Flow.Source != FlowOfficial {
		t.Errorf("below a dam: %q, %q", plain.Flow.Source, spate.Flow.Source)
	}
	if slices.EqualFunc(plain.Water, spate.Water, func(a, b WaterDay) bool { return a.P50 == b.P50 }) {
		t.Error("an official forecast below a dam does not reach the water temperature")
	}
}

// Below a dam no free-flowing guess is given: the official forecast as far as it
// reaches, or nothing.
func TestARegulatedRiverHasOnlyOfficialFlow(t *testing.T) {
	r := beck
	r.Regulated = true
	rec := beckRecord(t, flowIssue)
	opt := Options{Members: 40, Ahead: 60}
	rows, about := rec.flows(r, opt, 1, rec.weather(opt, 1))
	if rows != nil || about.Source != FlowWithheld || len(about.Days) != 0 {
		t.Fatalf("regulated, no official forecast: %q, %d days", about.Source, len(about.Days))
	}
	if text := strings.Join(about.Lines(wading.Metric), " "); !strings.Contains(text, "not forecast") {
		t.Errorf("it is not said: %s", text)
	}
	rec.Official = []FlowService{{Name: "model", Members: [][]float64{{90, 91, 92}}}}
	if rows, about = rec.flows(r, opt, 1, rec.weather(opt, 1)); rows != nil || about.Source != FlowWithheld {
		t.Fatalf("regulated, a model that knows no dam: %q", about.Source)
	}
	rec.Official = append(rec.Official, FlowService{Name: "official", Official: true, Members: [][]float64{{20, 21, 22}}})
	if rows, about = rec.flows(r, opt, 1, rec.weather(opt, 1)); len(rows) != opt.Members || len(rows[0]) != 3 || about.Source != FlowOfficial || len(about.Days) != 3 {
		t.Fatalf("regulated, three official days: %q, %d days", about.Source, len(about.Days))
	}
}

func TestChancesBetweenQuantilesFall(t *testing.T) {
	d := FlowDay{P05: 5, P10: 6, P25: 8, P50: 10, P75: 14, P90: 20, P95: 30}
	if p := d.ChanceAbove(10); math.Abs(p-0.5) > 1e-9 {
		t.Errorf("at the median %v", p)
	}
	last := 1.0
	for q := 0.0; q < 60; q += 0.5 {
		p := d.ChanceAbove(q)
		if p > last || p < 0.05-1e-9 || p > 0.95+1e-9 {
			t.Fatalf("%v m3/s: %v after %v", q, p, last)
		}
		last = p
	}
}

// The caution ahead adds to what is read; it takes nothing back.
func TestLevelsAheadAreNeverBelowTheReadingToday(t *testing.T) {
	day := FlowDay{P05: 5, P10: 6, P25: 8, P50: 10, P75: 14, P90: 20, P95: 30}
	f := &FlowAhead{}
	for d := range Date(4) { // issued yesterday
		day.Date = 99 + d
		f.Days = append(f.Days, day)
	}
	limits := &wading.Limits{CareM3s: 9, BetterNotM3s: 15, KeepOutM3s: 25}
	for now := wading.Quiet; now <= wading.KeepOut; now++ {
		days := LevelsAhead(f, 100, limits, now, true, 7)
		if len(days) != 3 {
			t.Fatalf("%d days", len(days))
		}
		for i, d := range days {
			sum := 0.0
			for k, p := range d.Chance {
				sum += p
				if p < -1e-12 || i == 0 && k < int(now) && p != 0 {
					t.Errorf("level %d is read, day %d: chance %.2f of level %d", now, i, p, k)
				}
			}
			if math.Abs(sum-1) > 1e-9 {
				t.Errorf("chances add up to %v", sum)
			}
		}
		if days[2].Chance[0] == 0 {
			t.Error("the day after tomorrow is held at today's level")
		}
	}
	if LevelsAhead(f, 100, limits, wading.Quiet, false, 7) != nil || LevelsAhead(f, 100, nil, wading.Quiet, true, 7) != nil {
		t.Error("chances are given where the caution is unknown")
	}
}

// Turbidity in words, and a chance of colour that rests on what rises did at this gauge.
func TestTurbidityTellsOfColour(t *testing.T) {
	rec := beckRecord(t, flowIssue)
	if _, about := rec.flows(beck, Options{Members: 40, Ahead: 30}, 1, rec.weather(Options{Members: 40, Ahead: 30}, 1)); about.Colour != nil {
		t.Fatalf("colour without a turbidity: %+v", about.Colour)
	}
	rec.Turbidity = make([]float64, len(rec.Flow))
	for i := range rec.Turbidity {
		rec.Turbidity[i] = 3
		if i > 100 && i%100 == 0 { // ten and more rises, of which every second colours the water
			rec.Flow[i] = 2 * rec.Flow[i-1]
			rec.Turbidity[i] = []float64{45, 4}[i/100%2]
		}
	}
	rec.Turbidity[len(rec.Turbidity)-1] = 6
	rec.TurbidityNow = Reading{Value: 12, At: rec.IssuedAt.Add(-time.Hour)}
	_, about := rec.flows(beck, Options{Members: 40, Ahead: 30}, 1, rec.weather(Options{Members: 40, Ahead: 30}, 1))
	c := about.Colour
	if c == nil || c.Words() != "slightly coloured" || c.Trend != flow.Rising || c.Rises < 9 || c.Coloured*2 < c.Rises-2 || c.Coloured*2 > c.Rises+2 {
		t.Fatalf("%+v", c)
	}
	p1, ok1 := c.chance(1)
	p0, ok0 := c.chance(0)
	if !ok1 || !ok0 || p1 < 0.3 || p0 > 0.05 {
		t.Errorf("colour after a rise %.2f, without one %.2f", p1, p0)
	}
	text := strings.Join(about.Lines(wading.US), " ")
	if !strings.Contains(text, "12 FNU") || !strings.Contains(text, "slightly coloured, rising") || !strings.Contains(text, "sharp rises on record here") {
		t.Errorf("it is not said: %s", text)
	}
	rec.TurbidityNow.At = rec.IssuedAt.Add(-25 * time.Hour)
	if _, about := rec.flows(beck, Options{Members: 40, Ahead: 30}, 1, rec.weather(Options{Members: 40, Ahead: 30}, 1)); about.Colour != nil {
		t.Error("a turbidity of yesterday morning is told as of now")
	}
}

// Mail and pages tell today's reading beside the days that this allows, and no others.
func TestTodaysReadingReachesThreeDays(t *testing.T) {
	for days, want := range map[Date]bool{-2: true, 0: true, 3: true, 4: false, 7: false} {
		if got := ReadingReaches(100, 100+days); got != want {
			t.Errorf("%d days ahead: %t", days, got)
		}
	}
}
