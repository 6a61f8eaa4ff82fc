package main

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/feed/replay"
)

// stageServer serves gauge heights, ft, of one gauge every quarter of an hour
// up to a moment.
func stageServer(t *testing.T, to time.Time, feet float64) string {
	return scripted(t, func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/geo+json")
		var rows []string
		if code := r.URL.Query().Get("parameter_code"); code == "" || strings.Contains(code, "00065") {
			for at := to.Add(-12 * time.Hour); !at.After(to); at = at.Add(15 * time.Minute) {
				rows = append(rows, fmt.Sprintf(`{"type":"Feature","properties":{"time_series_id":"%032d","monitoring_location_id":"USGS-99000009","parameter_code":"00065","statistic_id":"00011","time":%q,"value":%.2f,"unit_of_measure":"ft","approval_status":"Provisional","qualifier":null},"id":"a%d","geometry":null}`,
					8, at.Format(time.RFC3339), feet+0.01*float64(at.Minute()/15), len(rows)))
			}
		}
		_, _ = io.WriteString(w, `{"type":"FeatureCollection","features":[`+strings.Join(rows, ",")+`],"links":[]}`)
	})
}

// TestFloodStagesFillThemselvesIn: from the recorded gauge whose action stage is
// 25 ft, under the number of an invented one.
func TestFloodStagesFillThemselvesIn(t *testing.T) {
	t.Parallel()
	routes := []replay.Route{{Path: "/gauges/99000009", File: "nwps/gauge-ACRT2-2026-09-26.trimmed.json", Type: "application/json"}}
	nwps := httptest.NewServer(replay.New(replay.Shared(t, "official"), routes))
	defer nwps.Close()
	config := func(feet float64, flood string) string {
		text := strings.Replace(oneGauge(stageServer(t, warnedAt.Add(-10*time.Minute), feet)), `["water_temperature"]`, `["gauge_height"]`, 1)
		return strings.Replace(text, "[[river]]", "[feeds.nwps]\nbase-url = \""+nwps.URL+"\"\n[[river]]", 1) + flood
	}
	floods := func(t *testing.T, path string) string {
		t.Helper()
		code, out, errs := call(t, warnedAt, "caution", "beck", "--config", path)
		if code != 0 {
			t.Fatal(out, errs)
		}
		for l := range strings.Lines(out) {
			if strings.Contains(l, "action stage") {
				return l
			}
		}
		return ""
	}
	for _, c := range []struct {
		name, flood string
		feet        float64
		want        string // in the caution; empty: no flood
		state, says string // of the doctor
	}{
		{"above the published action stage", "", 25.2, "action stage", good, "action 7.62 m (25.0 ft), minor 10.06 m (33.0 ft)"},
		{"below it", "", 24.2, "", good, "https://water.noaa.gov/gauges/ACRT2, read 2026-05-18"},
		{"typed heights win", "  [river.flood]\n  unit = \"ft\"\n  action = 28\n  minor = 33\n", 25.2, "", noted, "action 8.53 m (28.0 ft) in the config, 7.62 m (25.0 ft) published"},
		{"typed heights that agree", "  [river.flood]\n  unit = \"ft\"\n  action = 25\n", 25.2, "action stage", good, "action"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, path := write(t, config(c.feet, c.flood))
			code, out, errs := call(t, warnedAt, "ingest", "--config", path)
			if code != 0 || !strings.Contains(out, "flood stages: action") {
				t.Fatalf("%d %s%s", code, out, errs)
			}
			if got := floods(t, path); (got != "") != (c.want != "") {
				t.Errorf("the caution says %q", got)
			}
			_, by := examine(t, path, warnedAt, "--offline")
			if f := by["beck, flood stages of USGS-99000009"]; f.State != c.state || !strings.Contains(f.Message, c.says) {
				t.Errorf("the doctor says %+v", f)
			}
			if code, out, _ := call(t, warnedAt.Add(time.Hour), "ingest", "--config", path); code != 0 || strings.Contains(out, "flood stages") {
				t.Errorf("asked again within a week: %s", out)
			}
		})
	}
	t.Run("a service that is down costs nothing", func(t *testing.T) {
		_, path := write(t, strings.Replace(config(25.2, ""), nwps.URL, "http://127.0.0.1:1", 1))
		if code, out, errs := call(t, warnedAt, "ingest", "--config", path); code != 0 || !strings.Contains(out, "flood stages: not read") {
			t.Errorf("%d %s%s", code, out, errs)
		}
	})
}

func TestASearchShowsFloodStages(t *testing.T) {
	t.Parallel()
	routes := []replay.Route{
		{Path: "/gauges/90000001", File: "nwps/gauge-ACRT2-2026-09-26.trimmed.json", Type: "application/json"},
	}
	nwps := httptest.NewServer(replay.New(replay.Shared(t, "official"), routes))
	defer nwps.Close()
	_, path := write(t, "[feeds.usgs]\nbase-url = \""+lists(t, "usgs")+"\"\n[feeds.nwps]\nbase-url = \""+nwps.URL+"\"\n")
	code, out, errs := gauges(t, "--near", "50.6,-4.3", "--radius", "40", "--agency", "usgs", "--config", path)
	if code != 0 || strings.Count(out, "floods: action 25, minor 33, moderate 38, major 42 ft") != 1 {
		t.Errorf("%d %s%s", code, out, errs)
	}
	code, out, _ = gauges(t, "--near", "50.6,-4.3", "--radius", "40", "--agency", "usgs", "--config", path, "--format", "json")
	if code != 0 || !strings.Contains(out, `"lid": "ACRT2"`) || !strings.Contains(out, `"note": "no flood stages"`) {
		t.Errorf("%d %s", code, out)
	}
	nwps.Close()
	code, out, _ = gauges(t, "--near", "50.6,-4.3", "--radius", "40", "--agency", "usgs", "--config", path)
	if code != 0 || strings.Count(out, "flood stages unknown") != 1 {
		t.Errorf("a dead service: %d %s", code, out)
	}
	for l := range strings.Lines(out) {
		if n := len([]rune(strings.TrimSuffix(l, "\n"))); n > 80 {
			t.Errorf("%d columns: %s", n, l)
		}
	}
}
