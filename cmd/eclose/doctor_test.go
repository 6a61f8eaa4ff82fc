package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// examine runs the doctor and returns its findings by what they are about.
func examine(t *testing.T, path string, now time.Time, args ...string) (int, map[string]finding) {
	t.Helper()
	code, out, errs := call(t, now, append([]string{"doctor", "--config", path, "--format", "json"}, args...)...)
	var list []finding
	if err := json.Unmarshal([]byte(out), &list); err != nil {
		t.Fatalf("exit %d, %v\n%s%s", code, err, out, errs)
	}
	by := map[string]finding{}
	for _, f := range list {
		by[f.What] = f
	}
	return code, by
}

func TestTheDoctorSaysWhatEachMissingThingCosts(t *testing.T) {
	t.Parallel()
	y := &yearServer{}
	base := scripted(t, y.answer)
	text := strings.Replace(oneGauge(base), `["water_temperature"]`, `["water_temperature", "discharge"]`, 1)
	_, path := write(t, text+"[mail]\nhost = \"127.0.0.1\"\nport = 9\nfrom = \"a@example.org\"\n")
	code, by := examine(t, path, demo.Issue)
	if code != 1 || by["store"].State != bad || by["feed usgs"].State != good || by["mail"].State != bad || by["disk of the store"].State != good {
		t.Errorf("before the first ingest: exit %d, %+v", code, by)
	}
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 {
		t.Fatal(out, errs)
	}
	_, by = examine(t, path, demo.Issue.Add(time.Hour))
	for what, want := range map[string]struct{ state, says string }{
		"store":                               {good, "1 series"},
		"beck, usgs USGS-99000009, discharge": {bad, "no data stored"},
		"beck, usgs USGS-99000009, water temperature": {noted, "13 hours old"},
		"beck, water model":                           {bad, "0 of the 365 days"},
		"beck, caution":                               {bad, "unknown"},
		"clock":                                       {bad, "off by"}, // the server has the true time, the test has not
	} {
		f, ok := by[what]
		if !ok || f.State != want.state || !strings.Contains(f.Message, want.says) || f.State == bad && f.Costs == "" {
			t.Errorf("%s: %+v, want %+v", what, f, want)
		}
	}
	if f := by["beck, usgs USGS-99000009, discharge"]; !strings.Contains(f.Costs, "caution level is unknown") {
		t.Errorf("the cost of no flow is %q", f.Costs)
	}
}

func TestTheDoctorAsksNobodyWhenToldSo(t *testing.T) {
	t.Parallel()
	asked := 0
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { asked++ }))
	defer s.Close()
	_, path := write(t, oneGauge(s.URL))
	if _, by := examine(t, path, demo.Issue, "--offline"); asked != 0 || by["feed usgs"].State != "" {
		t.Errorf("asked %d times, %+v", asked, by)
	}
	s.Close()
	if code, by := examine(t, path, time.Now()); code != 1 || by["feed usgs"].State != bad || !strings.Contains(by["feed usgs"].Message, "refused") {
		t.Errorf("exit %d, %+v", code, by["feed usgs"])
	}
	if code, _, errs := call(t, demo.Issue, "doctor", "--config", path+".none"); code != 2 || !strings.Contains(errs, "no such file") {
		t.Errorf("exit %d, %s", code, errs)
	}
}

// TestTheDoctorTellsOfAStationThatIsReadInTheMorning: a trap of the archive of
// daily weather that no check of the values can find.
func TestTheDoctorTellsOfAStationThatIsReadInTheMorning(t *testing.T) {
	t.Parallel()
	y := &yearServer{}
	base := scripted(t, y.answer)
	for site, want := range map[string]string{"USC00042319": noted, "USW00024233": ""} {
		_, path := write(t, oneGauge(base)+"  [river.weather]\n  feed = \"ghcn\"\n  site = \""+site+"\"\n[feeds.ghcn]\nbase-url = \""+base+"\"\n")
		call(t, demo.Issue, "ingest", "--config", path) // the weather fails, the gauge does not
		if _, by := examine(t, path, demo.Issue, "--offline"); by["beck, station "+site].State != want {
			t.Errorf("%s: %+v", site, by["beck, station "+site])
		}
	}
}

func TestDoctorJudgesTheNewestValueNotTheNewestRow(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "eclose.toml")
	text := `[feeds.csv]
zone = "UTC"
time-column = "when"
time-layout = "2006-01-02 15:04"
  [[feeds.csv.column]]
  name = "temp"
  variable = "water_temperature"
  unit = "°C"

[[river]]
name = "Our beck"
slug = "beck"
zone = "UTC"
lat = 54.4
lon = -2.9
  [[river.gauge]]
  feed = "csv"
  site = "beck"
  file = "logger.csv"
  variables = ["water_temperature"]
`
	var rows strings.Builder
	rows.WriteString("when,temp\n")
	for at := demo.Issue.Add(-20 * 24 * time.Hour); at.Before(demo.Issue); at = at.Add(time.Hour) {
		value := ""
		if at.Before(demo.Issue.Add(-12 * 24 * time.Hour)) {
			value = "8.5"
		}
		fmt.Fprintf(&rows, "%s,%s\n", at.UTC().Format("2006-01-02 15:04"), value)
	}
	for name, data := range map[string]string{path: text, filepath.Join(dir, "logger.csv"): rows.String()} {
		if err := os.WriteFile(name, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 {
		t.Fatal(out, errs)
	}
	_, by := examine(t, path, demo.Issue)
	if f := by["beck, csv beck, water temperature"]; f.State != bad || !strings.Contains(f.Message, "12 days old") {
		t.Errorf("a logger silent for 12 days that goes on writing empty cells: %+v", f)
	}
}
