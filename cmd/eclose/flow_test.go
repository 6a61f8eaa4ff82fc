package main

import (
	"encoding/json"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/series"
)

// fells ingests the demo's rivers with the spates that are to come, after what before may
// have put into the store.
func fells(t *testing.T, before func(w *demo.World, dir string), spates ...demo.Spate) (*demo.World, string) {
	t.Helper()
	w := demo.NewWorld(spates...)
	feeds := httptest.NewServer(w.Handler())
	t.Cleanup(feeds.Close)
	text := strings.Replace(demo.Config(feeds.URL), "backfill-years = 9", "backfill-years = 4", 1)
	dir, path := write(t, text)
	if before != nil {
		before(w, dir)
	}
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 {
		t.Fatalf("%s%s", out, errs)
	}
	return w, path
}

// without writes the config again beside the first, without the forecasts of flow: the
// same readings, but nobody who looks ahead.
func without(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(filepath.Dir(path), "blind.toml")
	text := strings.Replace(string(b), "enabled = true # forecasts of flow", "enabled = false", 1)
	if text == string(b) {
		t.Fatal("the config has no forecasts of flow to leave out")
	}
	if err := os.WriteFile(other, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return other
}

func forecastFlow(t *testing.T, path, river string) *forecast.FlowAhead {
	t.Helper()
	code, out, errs := call(t, demo.Issue, "forecast", "--config", path, "--river", river, "--format", "json", "--members", "100")
	var list []forecast.Outlook
	if err := json.Unmarshal([]byte(out), &list); code != 0 || err != nil || len(list) != 1 || list[0].Flow == nil {
		t.Fatalf("%d outlooks, %v, %s", len(list), err, errs)
	}
	return list[0].Flow
}

// morning is midnight at the rivers on the day of the issue.
var morning = time.Date(2026, 5, 18, 7, 0, 0, 0, time.UTC)

// The forecasters' row first, as far as it reaches, then the members of the national
// model, then the gauge's own statistics; and where a service is dead, only those, and it
// is said.
func TestForecastsOfFlowAreJoinedAsFarAsTheyReach(t *testing.T) {
	t.Parallel()
	w, path := fells(t, func(w *demo.World, dir string) { earlierIssues(t, w, dir) }, demo.Spate{River: "garrow", After: 3 * 24 * time.Hour, PeakM3s: 40})
	f := forecastFlow(t, path, "garrow")
	reach := map[string]int{}
	for _, s := range f.Services {
		reach[s.Name] = s.Days
	}
	if len(f.Services) != 3 || f.Services[0].Days != 5 || f.Services[1].Days != 9 || f.Services[2].Days != 30 || f.Source != forecast.FlowJoined {
		t.Fatalf("%q, services %+v", f.Source, f.Services)
	}
	for d := 1; d < 30; d++ {
		truth, got := w.FlowM3s("garrow", morning.AddDate(0, 0, d), 24), f.Days[d]
		if off := math.Abs(math.Log(got.P50 / truth)); d < 5 && off > 0.25 {
			t.Errorf("day %d: %.1f m3/s, true %.1f", d, got.P50, truth)
		} else if off > 0.6 { // the national model has 30 % too much water and errs more with lead
			t.Errorf("day %d: %.1f m3/s, true %.1f", d, got.P50, truth)
		}
	}
	blind := forecastFlow(t, without(t, path), "garrow")
	if blind.Source != forecast.FlowStatistics || len(blind.Services) != 0 || blind.Days[3].P50 > 0.6*f.Days[3].P50 {
		t.Errorf("without the service: %q, %.1f m3/s on the day of the spate, with it %.1f", blind.Source, blind.Days[3].P50, f.Days[3].P50)
	}
	for _, last := range []int{4, 8, 29} { // no seam is steeper than what the river does anyway
		jump := math.Abs(math.Log(f.Days[last+1].P50 / f.Days[last].P50))
		if jump > 0.35 {
			t.Errorf("from day %d to the next the flow jumps by %.2f in the logarithm", last, jump)
		}
	}
	saysHowEarlierIssuesDid(t, path)
	if far := math.Abs(math.Log(f.Days[150].P50 / blind.Days[150].P50)); far > 0.1 {
		t.Errorf("five months on, the services move the flow by %.2f in the logarithm", far)
	}
}

// earlierIssues puts official forecasts of the ten days before into a store: a tenth too
// high three days ahead, and half as much again beyond.
func earlierIssues(t *testing.T, w *demo.World, dir string) {
	t.Helper()
	store, err := series.Open(t.Context(), filepath.Join(dir, "series"))
	if err != nil {
		t.Fatal(err)
	}
	for ago := 10; ago > 0; ago-- {
		issued := morning.AddDate(0, 0, -ago)
		s := ingest.Series{Key: ingest.Key{Feed: "nwps", Site: "USGS-99000003", Variable: ingest.Discharge, Statistic: ingest.Instant, TimeSeries: nwps.Official}, SourceUnit: "kcfs"}
		for h := 0; h < 7*24; h += 6 {
			at := issued.Add(time.Duration(h) * time.Hour)
			q := 1.1 * w.FlowM3s("little-ash", at.Add(-7*time.Hour).Truncate(24*time.Hour).Add(7*time.Hour), 24)
			if h >= 4*24 {
				q *= 1.4
			}
			s.Time, s.Value, s.Qualifier = append(s.Time, at.UnixMicro()), append(s.Value, q), append(s.Qualifier, "issued "+issued.Format(time.RFC3339))
		}
		if _, err := store.Put(t.Context(), s, issued.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
}

func saysHowEarlierIssuesDid(t *testing.T, path string) {
	t.Helper()
	code, out, errs := call(t, demo.Issue, "score", "--config", path)
	text := strings.Join(strings.Fields(out), " ")
	for _, want := range []string{"1 9 of 9 days 1.1", "3 7 of 7 days 1.1", "5 0 of 5 days 1.5"} {
		if code != 0 || !strings.Contains(text, "little-ash official forecast (National Water Prediction Service) "+want) {
			t.Errorf("score lacks %q: %s%s", want, out, errs)
		}
	}
	_, table, _ := call(t, demo.Issue, "forecast", "--config", path, "--river", "little-ash", "--details")
	if !strings.Contains(strings.Join(strings.Fields(table), " "), "was within 20% here on 9 of 9 days at 1 day ahead, 7 of 7 days at 3 days ahead, 0 of 5 days at 5 days ahead") {
		t.Errorf("the forecast does not say how the official one did: %s", table[:min(2500, len(table))])
	}
}

func TestADeadForecastServiceCostsOnlyItsForecast(t *testing.T) {
	t.Parallel()
	w := demo.NewWorld()
	feeds := httptest.NewServer(w.Handler())
	defer feeds.Close()
	text := strings.Replace(demo.Config(feeds.URL), "backfill-years = 9", "backfill-years = 4", 1)
	_, path := write(t, strings.Replace(text, feeds.URL+"/nwps/v1", "http://127.0.0.1:1/nwps/v1", 1))
	code, out, errs := call(t, demo.Issue, "ingest", "--config", path)
	if code != 1 || !strings.Contains(out+errs, "nwps") || !strings.Contains(out+errs, "failed") {
		t.Fatalf("code %d: %s%s", code, out, errs)
	}
	f := forecastFlow(t, path, "wend")
	if f.Source != forecast.FlowStatistics || len(f.Days) < 300 || !f.Unanswered {
		t.Errorf("%q, %d days, said: %v", f.Source, len(f.Days), f.Unanswered)
	}
	const silence = "No official forecast of the flow came in the last 36 hours: the flow ahead rests on the gauge's own record."
	if _, short, _ := call(t, demo.Issue, "forecast", "--config", path, "--river", "wend"); !strings.Contains(strings.Join(strings.Fields(short), " "), silence) {
		t.Errorf("the short forecast does not say that the service is silent: %s", short)
	}
	if _, table, _ := call(t, demo.Issue, "forecast", "--config", path, "--river", "wend", "--details"); !strings.Contains(strings.Join(strings.Fields(table), " "), "no official forecast came in the last 36 hours") {
		t.Errorf("the forecast does not say that the service is silent: %s", table[:min(len(table), 1500)])
	}
}

// TestTheFloodModelOfOpenMeteoIsChosenByTheConfig: the members of a recorded response,
// moved to the days of the demo, join the forecast of a river whose config names them.
func TestTheFloodModelOfOpenMeteoIsChosenByTheConfig(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(shared(t, "feeds", "open-meteo", "flood-ensemble-two-models-2026.json"))
	if err != nil {
		t.Fatal(err)
	}
	w := demo.NewWorld()
	mux := http.NewServeMux()
	mux.Handle("/", w.Handler())
	mux.HandleFunc("GET /v1/flood", func(rw http.ResponseWriter, r *http.Request) {
		if q := r.URL.Query(); q.Get("daily") != "river_discharge" || q.Get("ensemble") != "true" {
			t.Errorf("asked %s", r.URL)
		}
		rw.Header().Set("Content-Type", "application/json")
		_, _ = rw.Write(movedTo(t, raw, demo.Issue))
	})
	feeds := httptest.NewServer(mux)
	defer feeds.Close()
	text := strings.Replace(demo.Config(feeds.URL), "backfill-years = 9", "backfill-years = 4", 1)
	parts := strings.SplitAfter(text, "[[river]]") // the first river alone
	text = strings.TrimSuffix(parts[0]+parts[1], "[[river]]")
	text = strings.Replace(text, "enabled = true # forecasts of flow", "enabled = false", 1)
	text = strings.Replace(text, "  [river.weather]", "  [[river.gauge]]\n  feed = \"open-meteo\"\n  variables = [\"discharge\"]\n\n  [river.weather]", 1)
	_, path := write(t, text)
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 {
		t.Fatalf("%s%s", out, errs)
	}
	f := forecastFlow(t, path, "wend")
	if f.Source != forecast.FlowJoined || len(f.Services) != 1 || f.Services[0].Name != "Open-Meteo flood model" || f.Services[0].Days != 2 {
		t.Errorf("%q, services %+v", f.Source, f.Services)
	}
}

// movedTo sets the dates of a recorded response so that its days begin with another.
func movedTo(t *testing.T, raw []byte, first time.Time) []byte {
	t.Helper()
	var body struct {
		Daily struct {
			Time []string `json:"time"`
		} `json:"daily"`
	}
	if err := json.Unmarshal(raw, &body); err != nil || len(body.Daily.Time) == 0 {
		t.Fatalf("%d days, %v", len(body.Daily.Time), err)
	}
	out := string(raw)
	for i, d := range body.Daily.Time {
		out = strings.Replace(out, `"`+d+`"`, `"moved `+first.AddDate(0, 0, i).Format(time.DateOnly)+`"`, 1)
	}
	return []byte(strings.ReplaceAll(out, `"moved `, `"`))
}

// TestAForecastSpateChangesTheTripForTheBetter goes the whole way: an invented spate that
// only the forecast service sees, the commands that a user gives, and the true flow of
// the days that are then chosen.
func TestAForecastSpateChangesTheTripForTheBetter(t *testing.T) {
	t.Parallel()
	w, path := fells(t, nil, demo.Spate{River: "garrow", After: 36 * time.Hour, PeakM3s: 60})
	first := func(path string) trip.Stay {
		t.Helper()
		code, out, errs := call(t, demo.Issue, "trip", "--config", path, "--from", "2026-05-19", "--to", "2026-05-31", "--format", "json", "--members", "100")
		var x trip.Trip
		if err := json.Unmarshal([]byte(out), &x); code != 0 || err != nil {
			t.Fatal(err, errs)
		}
		return x.First
	}
	ranges := map[string][2]float64{"wend": {150, 700}, "garrow": {300, 600}, "little-ash": {40, 350}} // cfs, as in the demo's config
	fishable := func(s trip.Stay) (days int) {
		for d := s.From; d <= s.To; d++ {
			q := w.FlowM3s(s.River, morning.AddDate(0, 0, int(d-forecast.DateOf(morning))), 24) / 0.028316846592
			if r := ranges[s.River]; q >= r[0] && q <= r[1] {
				days++
			}
		}
		return days
	}
	warned, blind := first(path), first(without(t, path))
	if a, b := fishable(warned), fishable(blind); a < b+2 {
		t.Errorf("warned: %s from %s, %d fishable days; unwarned: %s from %s, %d", warned.River, warned.From, a, blind.River, blind.From, b)
	}
	if warned.Flow.P > 0.35 {
		t.Errorf("the chosen stay is spoiled with a chance of %.2f", warned.Flow.P)
	}
}
