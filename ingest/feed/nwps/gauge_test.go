package nwps

import (
	"errors"
	"fmt"
	"math"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
	"example.org/eclose/ingest/series"
)

var noon = time.Date(2026, 9, 26, 12, 0, 0, 0, time.UTC)

func served(t *testing.T, routes []replay.Route) (*replay.Server, Source) {
	t.Helper()
	rep := replay.New(replay.Shared(t, "official"), routes)
	srv := httptest.NewServer(rep)
	t.Cleanup(srv.Close)
	c, err := client.New(client.Options{UserAgent: "eclose-test (ranger@example.org)", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	return rep, Source{Client: c, BaseURL: srv.URL + "/nwps/v1/"}
}

// feet lists heights in feet and flows in cubic feet a second, as published.
func feet(c Categories) string {
	return fmt.Sprintf("%.4g %.6g", [4]float64{c.StageM[0] / 0.3048, c.StageM[1] / 0.3048, c.StageM[2] / 0.3048, c.StageM[3] / 0.3048}, [4]float64{
		c.FlowM3s[0] / 0.028316846592, c.FlowM3s[1] / 0.028316846592, c.FlowM3s[2] / 0.028316846592, c.FlowM3s[3] / 0.028316846592})
}

func TestFloodStagesFromRecordedResponses(t *testing.T) {
	rep, s := served(t, replay.NWPS)
	for _, c := range []struct{ id, want, fault string }{
		{"ACRT2", "[25 33 38 42] [NaN NaN NaN NaN]", ""},
		{"USGS-08158000", "[25 33 38 42] [NaN NaN NaN NaN]", ""},
		{"01646500", "[5 10 12 14] [22000 NaN NaN NaN]", ""},
		{"99000001", "", "has no flood stages"},
		{"../gauges", "", "neither a gauge id"},
	} {
		g, err := s.Gauge(t.Context(), c.id)
		if e := (*ingest.Error)(nil); (err != nil) != (c.fault != "") || err != nil && (!errors.As(err, &e) || !strings.Contains(err.Error(), c.fault)) {
			t.Fatalf("%s: %v, want %q", c.id, err, c.fault)
		}
		if err == nil && feet(g.Flood) != c.want {
			t.Errorf("%s: %s, want %s", c.id, feet(g.Flood), c.want)
		}
		if c.id == "99000001" && !errors.Is(err, ErrNoGauge) {
			t.Errorf("%s: %v", c.id, err)
		}
	}
	if n := len(rep.Asked()); n != 4 {
		t.Errorf("asked %d times", n)
	}
}

func gaugeOf(flood, more string) string {
	return `{"lid":"WNDO1","name":"Wend"` + more + `,"flood":` + flood + `}`
}

func TestTrapsOfFloodStages(t *testing.T) {
	all := func(unit, action, minor string) string {
		return `{"stageUnits":"` + unit + `","flowUnits":"kcfs","categories":{"action":{"stage":` + action + `,"flow":2.5},"minor":{"stage":` + minor + `,"flow":-999},"moderate":{"stage":null},"major":{}}}`
	}
	for _, c := range []struct{ name, body, want, note string }{
		{"kcfs, -999, null and nothing", gaugeOf(all("ft", "10", "12"), ""), "[10 12 NaN NaN] [2500 NaN NaN NaN]", ""},
		{"metres", gaugeOf(all("m", "3.048", "6.096"), ""), "[10 20 NaN NaN] [2500 NaN NaN NaN]", ""},
		{"numbers as text", gaugeOf(all("ft", `"10"`, `"-9999"`), ""), "[10 NaN NaN NaN] [2500 NaN NaN NaN]", ""},
		{"a unit nobody knows", gaugeOf(all("fathom", "10", "12"), ""), "[NaN NaN NaN NaN] [2500 NaN NaN NaN]", ""},
		{"out of order", gaugeOf(all("ft", "12", "10"), ""), "[NaN NaN NaN NaN] [2500 NaN NaN NaN]", "do not rise"},
		{"a reservoir's pool", gaugeOf(all("ft", "10", "12"), `,"pedts":{"observed":"HPIRG"}`), "[NaN NaN NaN NaN] [2500 NaN NaN NaN]", "not gauge heights"},
		{"river stage", gaugeOf(all("ft", "10", "12"), `,"pedts":{"observed":"HGIRG"}`), "[10 12 NaN NaN] [2500 NaN NaN NaN]", ""},
		{"a gauge without categories", `{"lid":"WNDO1"}`, "[NaN NaN NaN NaN] [NaN NaN NaN NaN]", ""},
	} {
		g, err := parseGauge(strings.NewReader(c.body))
		if err != nil || feet(g.Flood) != c.want || !strings.Contains(g.Note, c.note) || (g.Note == "") != (c.note == "") {
			t.Errorf("%s: %s, %q, %v; want %s, %q", c.name, feet(g.Flood), g.Note, err, c.want, c.note)
		}
	}
	for _, body := range []string{"", "[]", "<html>", "{", "{}", "null"} {
		if _, err := parseGauge(strings.NewReader(body)); err == nil {
			t.Errorf("%q is read as a gauge", body)
		}
	}
}

func TestFloodStagesAreKeptAndRenewed(t *testing.T) {
	_, s := served(t, replay.NWPS)
	files, err := series.OpenFiles(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	load := func() Record {
		t.Helper()
		r, err := Load(t.Context(), files, "USGS-08158000")
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if r := load(); !r.Due(noon) || r.Categories().Any() {
		t.Errorf("before the first fetch: %+v", r)
	}
	if _, err := s.Renew(t.Context(), files, "USGS-08158000", noon); err != nil {
		t.Fatal(err)
	}
	r := load()
	if feet(r.Categories()) != "[25 33 38 42] [NaN NaN NaN NaN]" || r.Source != "https://water.noaa.gov/gauges/ACRT2" || r.Reach != "5781703" || !r.Fetched.Equal(noon) || r.Due(noon.AddDate(0, 0, 7)) || !r.Due(noon.AddDate(0, 0, 7).Add(time.Second)) {
		t.Errorf("%+v", r)
	}
	s.BaseURL = "http://127.0.0.1:1"
	later := noon.AddDate(0, 0, 8)
	if _, err := s.Renew(t.Context(), files, "USGS-08158000", later); err != nil {
		t.Fatal(err)
	}
	if r := load(); feet(r.Categories()) != "[25 33 38 42] [NaN NaN NaN NaN]" || r.Problem == "" || !r.Fetched.Equal(noon) || r.Due(later.Add(6*time.Hour)) || !r.Due(later.Add(6*time.Hour+time.Second)) {
		t.Errorf("a dead service: %+v", r)
	}
	_, s = served(t, replay.NWPS)
	if r, err := s.Renew(t.Context(), files, "USGS-99000001", noon); err != nil || !r.Absent || r.Problem != "" || r.Due(noon.AddDate(0, 0, 1)) {
		t.Errorf("a gauge that the service does not know: %+v, %v", r, err)
	}
}

func FuzzGauge(f *testing.F) {
	for _, b := range replay.Official(f, 64<<10, "nwps") {
		f.Add(b)
	}
	f.Add([]byte(gaugeOf(`{"stageUnits":"ft","categories":{"action":{"stage":"1e999"}}}`, "")))
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := parseGauge(strings.NewReader(string(b)))
		if e := (*ingest.Error)(nil); err != nil && !errors.As(err, &e) {
			t.Fatalf("the error %T %v", err, err)
		}
		if err != nil {
			return
		}
		last := math.Inf(-1)
		for i := range g.Flood.StageM {
			for _, x := range []float64{g.Flood.StageM[i], g.Flood.FlowM3s[i]} {
				if math.IsInf(x, 0) || x <= -9999 {
					t.Fatalf("%+v", g)
				}
			}
			if h := g.Flood.StageM[i]; !math.IsNaN(h) {
				if h < last {
					t.Fatalf("%+v", g)
				}
				last = h
			}
		}
	})
}
