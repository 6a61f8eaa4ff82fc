package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"example.org/eclose/forecast"
)

// shared finds recorded data, or skips (fails in CI) where they are absent.
func shared(t *testing.T, parts ...string) string {
	t.Helper()
	root := os.Getenv("ECLOSE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	path, err := filepath.Abs(filepath.Join(append([]string{root}, parts...)...))
	if err == nil {
		_, err = os.Stat(path)
	}
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("recorded data are absent: %v", err)
		}
		t.Skipf("recorded data are absent: %v", err)
	}
	return path
}

const deschutes = `backfill-years = 60
[feeds.csv]
time-column = "datetime"
  [[feeds.csv.column]]
  name = "113393_00010_00003"
  variable = "water_temperature"
  unit = "°C"
  period = "P1D"
  [[feeds.csv.column]]
  name = "113394_00060_00003"
  variable = "discharge"
  unit = "ft3/s"
  period = "P1D"
[[river]]
name = "Deschutes near Culver"
region = "pacific-nw-ca"
zone = "America/Los_Angeles"
lat = 44.4993
lon = -121.3208
  [[river.gauge]]
  feed = "csv"
  site = "culver"
  period = "P1D"
  file = "FILE"
  [river.warnings]
  feed = "none"
`

// The main job on a real record: a table of the US Geological Survey of the
// Deschutes near Culver, 1967-2020. The degree-days of the outlook are held
// against a sum worked out here from the raw file, line by line.
func TestARealRiverFromItsSavedAnswerToAnOutlook(t *testing.T) {
	t.Parallel()
	raw := shared(t, "feeds", "usgs-series", "deschutes-culver-14076500-1967-2020.rdb")
	_, path := write(t, strings.Replace(deschutes, "FILE", filepath.ToSlash(raw), 1))
	now := time.Date(2020, 8, 18, 20, 0, 0, 0, time.UTC)
	if code, out, errs := call(t, now, "ingest", "--config", path); code != 0 {
		t.Fatalf("%s%s", out, errs)
	}
	code, out, errs := call(t, now, "forecast", "--config", path, "--issue-date", "2019-06-01", "--format", "json")
	if code != 0 {
		t.Fatal(errs)
	}
	var outlooks []forecast.Outlook
	if err := json.Unmarshal([]byte(out), &outlooks); err != nil || len(outlooks) != 1 {
		t.Fatalf("%d outlooks, %v", len(outlooks), err)
	}
	o := outlooks[0]
	if len(o.Heat) != 2 {
		t.Fatalf("degree-days %+v", o.Heat)
	}
	for _, h := range o.Heat {
		want, days := degreeDaysOf(t, raw, "2019-01-01", "2019-06-01", h.BaseC)
		if h.Days != days || h.Measured != days || math.Abs(h.SumCDays-want) > 0.06 {
			t.Errorf("over %v °C: %v in %d days, want %.1f in %d", h.BaseC, h.SumCDays, h.Days, want, days)
		}
	}
	if o.Seasons < 10 {
		t.Errorf("%d seasons behind the outlook; the mean temperature runs since November 2005", o.Seasons)
	}
	found := map[string]bool{}
	for _, s := range o.Stages {
		found[s.Group+" "+string(s.Stage)] = true
		for _, d := range s.Days.All() {
			if d.P < 0 || d.P > 1 || math.IsNaN(d.P) || d.PCalendar < 0 || d.PCalendar > 1 {
				t.Fatalf("%s %s on %s: chances %v and %v", s.Group, s.Stage, d.Date, d.P, d.PCalendar)
			}
		}
		if w := s.Window; w.Peak.P50 != 0 && (w.Start.P50 > w.Peak.P50 || w.Peak.P50 > w.End.P50 || w.Peak.P10 > w.Peak.P90) {
			t.Errorf("%s %s: window out of order: %+v", s.Group, s.Stage, w)
		}
	}
	if !found["salmonfly egg-laying"] || !found["october-caddis egg-laying"] {
		t.Error("the outlook lacks groups of the region")
	}
}

// degreeDaysOf sums the mean temperature over a base from the raw file: column
// 8 of the table is the daily mean in °C.
func degreeDaysOf(t *testing.T, path, from, before string, base float64) (sum float64, days int) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		w := strings.Split(s.Text(), "\t")
		if len(w) != 11 || w[0] != "USGS" || w[2] < from || w[2] >= before {
			continue
		}
		v, err := strconv.ParseFloat(w[7], 64)
		if err != nil {
			t.Fatalf("%s: %v", w[2], err)
		}
		sum += math.Max(0, v-base)
		days++
	}
	return sum, days
}

func TestTheDemosTableFitsATerminalAndItsFilesSayThatTheyAreInvented(t *testing.T) {
	t.Parallel()
	made, err := demoOnce()
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(made.dir, "outlook.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(string(b), "\n") {
		if n := utf8.RuneCountInString(line); n > 80 {
			t.Errorf("%d columns: %q", n, line)
		}
	}
	for _, want := range []string{"Wend: forecast issued 18 May 2026", "since 1 January", "calendar", "your own eyes overrule"} {
		if !strings.Contains(strings.Join(strings.Fields(string(b)), " "), want) {
			t.Errorf("the table does not say %q", want)
		}
	}
	// Nothing of the demo may pass for a real river when it is found alone.
	for _, name := range []string{"outlook.txt", "outlook.csv-metadata.json", "outlook.parquet", "outlook.ics", "wend-season.svg", "wend-water.svg", "caution.txt", "alert.eml", "eclose.toml"} {
		b, err := os.ReadFile(filepath.Join(made.dir, name))
		if err != nil || !bytes.Contains(b, []byte("The Tarn Fells are invented")) {
			t.Errorf("%s does not say that it is invented, %v", name, err)
		}
	}
}

func TestForecastRefusesWhatItCannotDo(t *testing.T) {
	_, path := write(t, oneGauge("http://127.0.0.1:1"))
	for _, c := range []struct {
		name string
		args []string
		code int
		want string
	}{
		{"no store yet", nil, 1, "run eclose ingest first"},
		{"a date that is none", []string{"--issue-date", "May"}, 2, "write it as"},
		{"a river that is none", []string{"--river", "Styx"}, 2, `no river "Styx"`},
		{"Parquet on a terminal", []string{"--format", "parquet"}, 2, "needs --out"},
		{"an unknown format", []string{"--format", "xls"}, 2, "must be one of"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, _, errs := call(t, time.Now(), append([]string{"forecast", "--config", path}, c.args...)...)
			if code != c.code || !strings.Contains(errs, c.want) {
				t.Errorf("exit %d: %s", code, errs)
			}
		})
	}
}
