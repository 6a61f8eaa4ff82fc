package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"example.org/eclose/ingest/feed/replay"
)

// lists is a server with the invented list of gauges of one agency.
func lists(t *testing.T, agency string) string {
	t.Helper()
	srv := httptest.NewServer(replay.New("", replay.Lists[agency]))
	t.Cleanup(srv.Close)
	return srv.URL + map[string]string{"usgs": "/ogcapi/v1", "sensorthings": "/v1.1"}[agency]
}

func gauges(t *testing.T, args ...string) (code int, out, errOut string) {
	t.Helper()
	return ask(t, append([]string{"find"}, args...)...)
}

func ask(t *testing.T, args ...string) (code int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	code = runEnv(&env{ctx: t.Context(), stdin: strings.NewReader(""), stdout: &o, stderr: &e, now: func() time.Time { return time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC) }, sleep: func(context.Context, time.Duration) error { return nil }}, append([]string{"gauges"}, args...))
	return code, o.String(), e.String()
}

func TestGaugesOfEachAgencyFitTheTable(t *testing.T) {
	t.Parallel()
	for agency := range replay.Lists {
		code, out, errOut := gauges(t, "--near", "50.6,-4.3", "--radius", "40", "--agency", agency, "--base-url", lists(t, agency))
		if code != 0 || errOut != "" {
			t.Fatalf("%s: %d, %s", agency, code, errOut)
		}
		for l := range strings.Lines(out) {
			if utf8.RuneCountInString(strings.TrimSuffix(l, "\n")) > 80 {
				t.Errorf("%s: wider than 80 columns: %s", agency, l)
			}
		}
		if !strings.Contains(out, "2 gauges. To use the first, add to the config:\n\n    [[river.gauge]]\n    feed = \""+agency+"\"\n") || !strings.Contains(strings.ToLower(out), "  11  wend below garrow") {
			t.Errorf("%s:\n%s", agency, out)
		}
		code, out, _ = gauges(t, "--near", "50.6,-4.3", "--radius", "40", "--agency", agency, "--base-url", lists(t, agency), "--format", "json")
		var found []gaugeJSON
		if err := json.Unmarshal([]byte(out), &found); code != 0 || err != nil || len(found) != 2 || found[0].Feed != agency || *found[0].DistanceKm > 0.01 {
			t.Errorf("%s: %d, %v\n%s", agency, code, err, out)
		}
	}
}

// TestTheConfigSaysHowAgenciesAreReached: two agencies of one search, one of
// them down. What the other knows is printed all the same.
func TestTheConfigSaysHowAgenciesAreReached(t *testing.T) {
	config := func(ea, things string) string {
		path := filepath.Join(t.TempDir(), "eclose.toml")
		err := os.WriteFile(path, []byte("[[river]]\nname = \"Wend\"\nlat = 50.6\nlon = -4.3\n\n[feeds.ea]\nbase-url = \""+ea+"\"\n\n[feeds.sensorthings]\nbase-url = \""+things+"\"\n"), 0o600)
		if err != nil {
			t.Fatal(err)
		}
		return path
	}
	where := []string{"--near", "50.6,-4.3", "--radius", "40", "--config"}
	code, out, errOut := gauges(t, append(where, config(lists(t, "ea"), lists(t, "sensorthings")))...)
	if code != 0 || strings.Count(out, "\n      ea ") != 2 || strings.Count(out, "\n      sensorthings ") != 2 {
		t.Errorf("%d, %s\n%s", code, errOut, out)
	}
	code, out, errOut = gauges(t, append(where, config("http://127.0.0.1:1", lists(t, "sensorthings")))...)
	if code != 1 || strings.Count(out, "\n      sensorthings ") != 2 || !strings.Contains(errOut, "searching gauges: ea: ") {
		t.Errorf("%d, %s\n%s", code, errOut, out)
	}
}

func TestASearchForGaugesThatMakesNoSenseSaysWhy(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--near", "50.6"}, 2, "latitude,longitude"},
		{[]string{"--near", "60,10"}, 2, "outside the USA, England and Canada"},
		{[]string{"--state", "ZZ"}, 2, "not a US state or Canadian province"},
		{[]string{"--near", "50.6,-4.3", "--variable", "colour"}, 2, "unknown variable"},
		{[]string{"--near", "50.6,-4.3", "--radius=-1"}, 2, "more than 0"},
		{[]string{"--near", "50.6,-4.3", "--agency", "nobody"}, 2, "use one of usgs, ea, eccc, sensorthings"},
		{[]string{"--near", "48.8,-123", "--base-url", "http://127.0.0.1:1"}, 2, "choose one with --agency"},
		{[]string{"--near", "50.6,-4.3", "--agency", "sensorthings"}, 1, "names no server"},
		{[]string{"--state", "OR", "--agency", "ea"}, 1, "cannot be searched by state"},
		{[]string{"--near", "50.6,-4.3", "--key-file", "nowhere"}, 2, "reading the key"},
		{[]string{"--near", "50.6,-4.3", "--config", "nowhere.toml"}, 2, "reading the config"},
	} {
		if code, out, errOut := gauges(t, c.args...); code != c.code || !strings.Contains(errOut, c.want) || out != "" {
			t.Errorf("%v: %d, %q, %s", c.args, code, out, errOut)
		}
	}
	_, out, _ := gauges(t, "--near", "52,-4.3", "--radius", "1", "--agency", "ea", "--base-url", lists(t, "ea"))
	if !strings.HasPrefix(out, "No gauge with water temperature found in: Environment Agency (England). Try") {
		t.Error(out)
	}
}

// normalsServer has one gauge, invented: 6 °C on 31 December, 5 on 1 January.
func normalsServer(t *testing.T) string {
	t.Helper()
	values := func(day, v string) string {
		return `{"computation":"median","sample_count":12,"time_of_year":"` + day + `","time_of_year_type":"day_of_year","value":"` + v + `"},` +
			`{"computation":"percentile","sample_count":12,"time_of_year":"` + day + `","time_of_year_type":"day_of_year","percentiles":["10","90"],"values":["nan","7.25"]}`
	}
	srv := httptest.NewServer(replay.New("", []replay.Route{{Path: "/statistics/v0/observationNormals", Query: map[string]string{"monitoring_location_id": "USGS-90000001"}, Body: `{"features":[{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":"USGS-90000001","data":[` +
		`{"parameter_code":"00010","parent_statistic_id":"00003","parent_time_series_id":"a","unit_of_measure":"degC","values":[` + values("01-01", "5") + "," + values("12-31", "6") + "," + values("06-01", "15") + `]}]}}],"next":null}`},
		{Path: "/statistics/v0/observationNormals", Body: `{"features":[],"next":null}`}}))
	t.Cleanup(srv.Close)
	return srv.URL + "/ogcapi/v1"
}

func TestNormalsOverTheTurnOfTheYear(t *testing.T) {
	t.Parallel()
	base := normalsServer(t)
	code, out, errOut := ask(t, "normals", "90000001", "--from", "2025-12-30", "--days", "3", "--base-url", base)
	if code != 0 || errOut != "" {
		t.Fatal(code, errOut)
	}
	a, b := strings.Index(out, "31 Dec         -       -       -     6.0       -     7.2       -      12"), strings.Index(out, "1 Jan          -       -       -     5.0")
	if a < 0 || b < a || strings.Contains(out, "15.0") {
		t.Errorf("days in the wrong order or wrong ones:\n%s", out)
	}
	for l := range strings.Lines(out) {
		if utf8.RuneCountInString(strings.TrimSuffix(l, "\n")) > 80 {
			t.Errorf("wider than 80 columns: %s", l)
		}
	}
	if _, out, _ = ask(t, "normals", "90000001", "--from", "2025-12-31", "--days", "1", "--units", "us", "--base-url", base); !strings.Contains(out, "years, °F") || !strings.Contains(out, "      43 ") { // 6 °C is 42.8 °F
		t.Error(out)
	}
	code, out, _ = ask(t, "normals", "90000001", "--from", "2025-12-31", "--days", "2", "--format", "json", "--base-url", base)
	var j struct {
		Unit string
		Days []map[string]any
	}
	if err := json.Unmarshal([]byte(out), &j); code != 0 || err != nil || j.Unit != "°C" || len(j.Days) != 2 || j.Days[1]["median"] != 5.0 || j.Days[1]["p10"] != nil {
		t.Errorf("%d, %v\n%s", code, err, out)
	}
	if code, out, _ = ask(t, "normals", "90000002", "--base-url", base); code != 0 || !strings.Contains(out, "No statistics for water temperature at 90000002") {
		t.Errorf("%d %s", code, out)
	}
	for _, c := range [][2]string{{"--days=0", "1 to 366"}, {"--with=colour", "unknown variable"}, {"--base-url=http://127.0.0.1:1/x", "/ogcapi/v1"}} {
		if code, _, errOut := ask(t, "normals", "90000001", c[0]); code == 0 || !strings.Contains(errOut, c[1]) {
			t.Errorf("%s: %d %s", c[0], code, errOut)
		}
	}
}
