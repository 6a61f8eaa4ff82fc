package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/series"
)

// twoLayouts is a river with a logger in the water and a file of air, each with a
// layout of its own.
const twoLayouts = `
backfill-years = 10
[feeds.csv.layout.logger]
zone = "Europe/London"
time-column = "when"
time-layout = "02/01/2006 15:04"
delimiter = ";"
decimal-comma = true
  [[feeds.csv.layout.logger.column]]
  name = "temp"
  variable = "water_temperature"
  unit = "%s"

[feeds.csv.layout.air]
zone = "UTC"
time-column = "day"
time-layout = "2006-01-02"
  [[feeds.csv.layout.air.column]]
  name = "mean"
  variable = "air_temperature"
  unit = "%s"
  period = "P1D"

[[river]]
name = "Our beck"
zone = "Europe/London"
lat = 54.4
lon = -31.4
  [[river.gauge]]
  feed = "csv"
  site = "beck"
  file = "logger.csv"
  layout = "logger"
  variables = ["water_temperature"]
  [river.weather]
  feed = "csv"
  site = "beck-air"
  file = "air.csv"
  layout = "air"
  [river.warnings]
  feed = "none"
`

// loggerAndAir writes the config and both files: hourly water over the clock change of
// 29 March 2026, with what a logger does now and then, and daily air of a year.
func loggerAndAir(t *testing.T, waterUnit, airUnit string) (dir, path string) {
	t.Helper()
	dir, path = write(t, fmt.Sprintf(twoLayouts, waterUnit, airUnit))
	var w, a strings.Builder
	w.WriteString("when;temp\n")
	start := time.Date(2026, 3, 27, 0, 0, 0, 0, time.UTC)
	for h := range 96 {
		at := start.Add(time.Duration(h) * time.Hour)
		v := strings.Replace(fmt.Sprintf("%.2f", 8+1.5*math.Sin(float64(h)*math.Pi/12)), ".", ",", 1)
		switch h {
		case 10:
			v = "NaN"
		case 30:
			v = "85,0" // what a common sensor says after a loss of power
		}
		fmt.Fprintf(&w, "%s;%s\n", at.Format("02/01/2006 15:04"), v)
	}
	a.WriteString("day,mean\n")
	for d := range 365 {
		fmt.Fprintf(&a, "%s,%.1f\n", time.Date(2025, 4, 1+d, 0, 0, 0, 0, time.UTC).Format("2006-01-02"), 9+8*math.Sin(float64(d)*2*math.Pi/365))
	}
	for name, text := range map[string]string{"logger.csv": w.String(), "air.csv": a.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir, path
}

var afterTheBeck = time.Date(2026, 4, 2, 12, 0, 0, 0, time.UTC)

func TestFilesOfDifferentLayoutsLiveTogetherAndTheirReadingsAreSummedUp(t *testing.T) {
	dir, path := loggerAndAir(t, "°C", "°C")
	code, out, errs := call(t, afterTheBeck, "ingest", "--config", path)
	if code != 0 {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	for _, want := range []string{
		"water_temperature: 95 readings 2026-03-27 00:00 to 2026-03-30 22:00; 6.5 to 85 °C; 1% missing; 1% failed, ",
		"gross range 1",
		"skipped 1: 2026-03-29 01:00 and the like did not exist (clock change)",
		"air_temperature (mean, P1D): 365 readings 2025-04-01 00:00 to 2026-03-31 00:00; 1 to 17 °C; 0% missing",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("not said: %s\n%s", want, out)
		}
	}
	if strings.Contains(out, "looks like") {
		t.Errorf("a right unit is doubted:\n%s", out)
	}
	s := open(t, dir)
	water, err := s.Read(t.Context(), ingest.Key{Feed: "csv", Site: "beck", Variable: ingest.WaterTemperature, Statistic: ingest.Instant}, series.Query{})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range water.Value {
		if (v > 80 || math.IsNaN(v)) && qc.UsableFlag(water.Flag[i]) {
			t.Errorf("%v %g is usable", water.At(i), v)
		}
	}
	if u := qc.Usable(water); u.Len() < 90 {
		t.Errorf("%d usable readings", u.Len())
	}
}

func TestAUnitThatCannotBeRightIsDoubted(t *testing.T) {
	for _, c := range []struct{ water, air, want string }{
		{"°F", "°C", "water_temperature: 95 readings 2026-03-27 00:00 to 2026-03-30 22:00; -14.17 to 29.44 °C; 1% missing; 98% failed, 0% suspect (gross range 93); looks like °C but is declared as °F"},
		{"°C", "°F", "looks like °C but is declared as °F; check the unit"},
	} {
		_, path := loggerAndAir(t, c.water, c.air)
		code, out, errs := call(t, afterTheBeck, "ingest", "--config", path)
		if code != 0 || !strings.Contains(out, c.want) || strings.Count(out, "looks like") != 1 {
			t.Errorf("water %s, air %s: %d\n%s%s", c.water, c.air, code, out, errs)
		}
	}
	// The other way round: a file in °F, declared as °C.
	dir, path := loggerAndAir(t, "°C", "°C")
	text := "when;temp\n"
	for h := range 48 {
		text += fmt.Sprintf("%s;%d\n", time.Date(2026, 3, 20, h, 0, 0, 0, time.UTC).Format("02/01/2006 15:04"), 46+h%5)
	}
	if err := os.WriteFile(filepath.Join(dir, "logger.csv"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := call(t, afterTheBeck, "ingest", "--config", path); code != 0 || !strings.Contains(out, "looks like °F but is declared as °C") {
		t.Errorf("%d\n%s%s", code, out, errs)
	}
}

func TestAFileIsCheckedByTheLayoutOfTheConfig(t *testing.T) {
	dir, path := loggerAndAir(t, "°F", "°C")
	check := func(args ...string) (int, string) {
		code, out, errs := call(t, afterTheBeck, append([]string{"feed", "check", "--feed", "csv"}, args...)...)
		return code, out + errs
	}
	logger := filepath.Join(dir, "logger.csv")
	if code, out := check("--config", path, "--layout", "logger", "--site", "beck", logger); code != 0 ||
		!strings.Contains(out, "looks like °C but is declared as °F") || !strings.Contains(out, "did not exist (clock change)") || !strings.Contains(out, "NaN 1") {
		t.Errorf("%d %s", code, out)
	}
	if code, out := check("--config", path, "--layout", "air", "--format", "json", filepath.Join(dir, "air.csv")); code != 0 || !strings.Contains(out, `"plausibility": "air_temperature (mean, P1D): 365 readings`) {
		t.Errorf("%d %s", code, out)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--config", path, logger}, "no CSV layout is named; layouts are air, logger"},
		{[]string{"--config", path, "--layout", "snow", logger}, `no CSV layout "snow"; layouts are air, logger`},
		{[]string{"--layout", "air", logger}, "--layout needs --feed csv and --config"},
	} {
		if code, out := check(c.args...); code != 2 || !strings.Contains(out, c.want) {
			t.Errorf("%v: %d %s", c.args, code, out)
		}
	}
}

func TestAFaultyLayoutIsRefusedByName(t *testing.T) {
	good := fmt.Sprintf(twoLayouts, "°C", "°C")
	for _, c := range []struct{ old, with, want string }{
		{`layout = "air"`, `layout = "snow"`, `weather: no CSV layout "snow"; layouts are air, logger`},
		{"  layout = \"logger\"\n", "", `gauge beck: no CSV layout is named; layouts are air, logger`},
		{`unit = "°C"`, `unit = "°X"`, `feeds.csv.layout.logger: column "temp": unknown unit "°X" for water_temperature; write °C or °F`},
		{`variable = "air_temperature"`, `variable = "air"`, `feeds.csv.layout.air: column "mean": unknown variable "air"`},
		{`time-layout = "02/01/2006 15:04"`, `time-layout = "02/01/06 15:04"`, `feeds.csv.layout.logger: time-layout "02/01/06 15:04" has two-digit years; set two-digit-years-from`},
		{"[[river]]", "[feeds.usgs]\nzone = \"UTC\"\n[[river]]", "feeds.usgs: only feeds.csv has columns and layouts"},
		{`zone = "UTC"`, `zone = "Moon"`, `feeds.csv.layout.air: zone "Moon" is neither`},
	} {
		if !strings.Contains(good, c.old) {
			t.Fatal(c.old)
		}
		_, path := write(t, strings.Replace(good, c.old, c.with, 1))
		if code, _, errs := call(t, afterTheBeck, "ingest", "--config", path); code != 2 || !strings.Contains(errs, c.want) {
			t.Errorf("%q: %d %s", c.with, code, errs)
		}
	}
	// A logger that keeps standard time all year has an offset for a zone.
	dir, path := write(t, strings.Replace(good, `zone = "Europe/London"`, `zone = "UTC-08:00"`, 1))
	from, _ := loggerAndAir(t, "°C", "°C")
	for _, name := range []string{"logger.csv", "air.csv"} {
		if err := os.Rename(filepath.Join(from, name), filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if code, out, errs := call(t, afterTheBeck, "ingest", "--config", path); code != 0 || !strings.Contains(out, "water_temperature: 96 readings 2026-03-27 08:00") || strings.Contains(out, "clock change") {
		t.Errorf("%d %s%s", code, out, errs)
	}
}

// The running process fetches, and the command says the same of the readings.
func TestIngestBesideServeSumsUpToo(t *testing.T) {
	t.Parallel()
	_, path := loggerAndAir(t, "°F", "°C")
	url, log, _ := serve(t, from(afterTheBeck), "--config", path)
	until(t, "the server", log, func() bool { code, _ := report(t, url); return code != 0 })
	code, out, errs := call(t, demo.Issue, "ingest", "--config", path)
	if code != 0 || !strings.Contains(out, "The running eclose fetches") || !strings.Contains(out, "looks like °C but is declared as °F") || !strings.Contains(out, "did not exist (clock change)") {
		t.Errorf("%d %s%s\n%s", code, out, errs, log)
	}
}
