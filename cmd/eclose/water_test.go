package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// inventedWater is a table of a river that follows the air, with gaps.
func inventedWater(days int) string {
	var b strings.Builder
	b.WriteString("date,air_c,water_c,flow_m3s\n")
	day, water := time.Date(2019, 1, 1, 0, 0, 0, 0, time.UTC), 4.0
	for i := range days {
		x := float64(i)
		air := 9 - 9*math.Cos(x*2*math.Pi/365.25) + 3*math.Sin(x*0.9) + 2*math.Sin(x*0.37)
		water = max(0, water+0.4*(1+0.8*air-water))
		flow := fmt.Sprintf("%.3f", 5+3*math.Cos(x*2*math.Pi/365.25)+math.Sin(x*0.21))
		w := fmt.Sprintf("%.2f", water)
		if i%50 == 7 {
			w, flow = "", "NA"
		}
		fmt.Fprintf(&b, "%s,%.2f,%s,%s\n", day.AddDate(0, 0, i).Format(time.DateOnly), air, w, flow)
	}
	return b.String()
}

func TestWaterFitsAPlainTableAndScoresTheRest(t *testing.T) {
	t.Parallel()
	var out, errOut bytes.Buffer
	if code := run([]string{"water", "--csv", "-", "--fit-until", "2021-01-01", "--format", "json"}, strings.NewReader(inventedWater(1000)), &out, &errOut); code != 0 {
		t.Fatalf("exit %d: %s", code, errOut.String())
	}
	var got struct {
		Check map[string]struct {
			Days int     `json:"days"`
			RMSE float64 `json:"rmse_c"`
			NSE  float64 `json:"nse"`
		}
		Seconds *float64
		Regime  string
	}
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	m := got.Check["model"]
	if m.Days < 250 || m.RMSE > 0.3 || m.NSE < 0.98 || m.RMSE > got.Check["logistic"].RMSE || m.RMSE > got.Check["climatology"].RMSE {
		t.Errorf("check scores are %+v", got.Check)
	}
	if got.Seconds == nil || got.Regime == "" {
		t.Error("no seconds or regime")
	}
}

func TestWaterSaysWhatIsWrongWithItsInput(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		args []string
		in   string
		code int
		want string
	}{
		"too little to fit":    {[]string{"--fit-until", "2019-07-01"}, inventedWater(400), 1, "158 of 365 days"},
		"date outside":         {[]string{"--fit-until", "2030-07-01"}, inventedWater(400), 2, "runs from 2019-01-01"},
		"not a date":           {[]string{"--fit-until", "soon"}, inventedWater(400), 2, "is not a date"},
		"no air column":        {[]string{"--fit-until", "2019-07-01"}, "date,water_c\n", 1, `-:1: column "air_c" is missing`},
		"readings, no date":    {nil, inventedWater(400), 2, "--fit-until DATE"},
		"a word for a number":  {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n2019-01-01,warm,3\n", 1, `-:2: "warm" is not a temperature`},
		"days out of order":    {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n2019-01-02,1,3\n2019-01-01,1,3\n", 1, "not later than the row before"},
		"a row that is short":  {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n2019-01-02,1\n", 1, "-:2: 2 columns, 3 are needed"},
		"nothing but a header": {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n", 1, "no days"},
	} {
		t.Run(name, func(t *testing.T) {
			var out, errOut bytes.Buffer
			code := run(append([]string{"water", "--csv", "-"}, c.args...), strings.NewReader(c.in), &out, &errOut)
			if code != c.code || !strings.Contains(errOut.String(), c.want) {
				t.Errorf("exit %d, %q; want %d and %q", code, errOut.String(), c.code, c.want)
			}
		})
	}
}

const becks = `
[feeds.csv]
zone = "UTC"
time-column = "date"
time-layout = "2006-01-02 15:04"
  [[feeds.csv.column]]
  name = "air_c"
  variable = "air_temperature"
  unit = "degC"
  [[feeds.csv.column]]
  name = "water_c"
  variable = "water_temperature"
  unit = "degC"
  statistic = "mean"
  period = "P1D"
  [[feeds.csv.column]]
  name = "flow_m3s"
  variable = "discharge"
  unit = "m3/s"
  statistic = "mean"
  period = "P1D"
`

// aBeck is a river of that config: its name, latitude and the site of its readings.
const aBeck = `
[[river]]
name = %q
region = "europe-upland"
zone = "UTC"
lat = %v
lon = -2.9
  [[river.gauge]]
  feed = "csv"
  site = %q
  period = "P1D"
  file = "%[3]s.csv"
  variables = ["water_temperature", "discharge"]
  [river.weather]
  feed = "csv"
  lat = %[2]v
  lon = -2.9
  file = "weather.csv"
`

// becksIngested puts three invented rivers into a store: one with a long record,
// one whose thermometer was hung in late, and one where that was half a year ago.
func becksIngested(t *testing.T) (dir, config string, now time.Time) {
	t.Helper()
	const days = 1300
	dir, config = write(t, becks+fmt.Sprintf(aBeck, "Long Beck", 54.4, "long")+fmt.Sprintf(aBeck, "Short Beck", 54.6, "short")+fmt.Sprintf(aBeck, "Young Beck", 54.9, "young"))
	var long, short, young, weather strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(inventedWater(days)), "\n") {
		f := strings.Split(strings.ReplaceAll(line, "NA", ""), ",")
		date, air, water, flow := f[0], f[1], f[2], f[3]
		if i == 0 {
			for _, b := range []*strings.Builder{&long, &short, &young, &weather} {
				b.WriteString(line + "\n")
			}
			continue
		}
		fmt.Fprintf(&long, "%s 00:00,,%s,%s\n", date, water, flow)
		if i < days-150 {
			water = ""
		}
		fmt.Fprintf(&young, "%s 00:00,,%s,%s\n", date, water, flow)
		if i < days-40 {
			water = ""
		}
		fmt.Fprintf(&short, "%s 00:00,,%s,%s\n", date, water, flow)
		for h := range 24 {
			fmt.Fprintf(&weather, "%s %02d:00,%s,,\n", date, h, air)
		}
	}
	for name, text := range map[string]string{"long.csv": long.String(), "short.csv": short.String(), "young.csv": young.String(), "weather.csv": weather.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	now = time.Date(2019, 1, 1, 12, 0, 0, 0, time.UTC).AddDate(0, 0, days)
	if code, out, errs := call(t, now, "ingest", "--config", config); code != 0 {
		t.Fatalf("ingest: %s%s", out, errs)
	}
	return dir, config, now
}

func TestWaterOfARiverSaysHowWellItIsKnown(t *testing.T) {
	t.Parallel()
	dir, config, now := becksIngested(t)
	page := filepath.Join(dir, "fit.html")
	code, out, errs := call(t, now, "water", "Long Beck", "--config", config, "--hindcast", "--out", page)
	if code != 0 {
		t.Fatal(errs)
	}
	for _, want := range []string{"Model: model fitted here", "Regime: ", "check: model", "check: logistic on air", "check: climatology", "check: yesterday's reading", "lead, days", "Modelled chance", "does not override", "Flow can rise without warning", page} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	drawn, err := os.ReadFile(page) //nolint:gosec // the test wrote it
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`<path class="band"`, `<path class="measured"`, "check: model", "test period only"} {
		if !strings.Contains(string(drawn), want) {
			t.Errorf("no %q in the page", want)
		}
	}
	if strings.Contains(out+string(drawn), "NaN") {
		t.Error("an unknown value is printed")
	}
}

func TestARiverWithTooLittleWaterBorrowsAndSaysSo(t *testing.T) {
	t.Parallel()
	_, config, now := becksIngested(t)
	code, out, errs := call(t, now, "water", "Short Beck", "--config", config, "--format", "json")
	if code != 0 {
		t.Fatal(errs)
	}
	var got struct {
		Grade, Fallback, Likeness string
		Expected                  []expectedMonth
		SD                        float64 `json:"error_sd_c"`
		Parameters                []string
		Warm                      struct {
			Modelled bool
			Today    string
			Days     []struct{ Chances []float64 }
		} `json:"warm_water"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(got.Fallback, ": 0 of 60 days") || !strings.Contains(got.Fallback, "Long Beck") || !strings.Contains(got.Grade, "nearby river") {
		t.Errorf("%q, grade %q", got.Fallback, got.Grade)
	}
	if len(got.Expected) != 12 || !strings.Contains(got.Likeness, "rivers behind this model") {
		t.Errorf("expected %v, %q", got.Expected, got.Likeness)
	}
	if !(got.SD > 1.2) || len(got.Parameters) != 0 {
		t.Errorf("deviation %v °C, %d sentences on parameters that were not fitted", got.SD, len(got.Parameters))
	}
	if !got.Warm.Modelled || len(got.Warm.Days) != 16 || got.Warm.Today == "" {
		t.Errorf("warm water: %+v", got.Warm)
	}
}

// A river that nobody has read is shown with what to expect of it, month by month, and how
// far that is to be trusted; doctor says what a logger would gain.
func TestARiverWithoutAThermometerIsShownWithWhatToExpect(t *testing.T) {
	t.Parallel()
	var dry strings.Builder
	for line := range strings.SplitSeq(strings.TrimSpace(inventedWater(1000)), "\n") {
		f := strings.Split(line, ",")
		fmt.Fprintf(&dry, "%s,%s,%s\n", f[0], f[1], f[3])
	}
	var out, errOut bytes.Buffer
	if code := run([]string{"water", "--csv", "-"}, strings.NewReader(dry.String()), &out, &errOut); code != 0 {
		t.Fatalf("exit %d: %s", code, errOut.String())
	}
	flat := strings.Join(strings.Fields(out.String()), " ")
	for _, want := range []string{"0 of 60 days", "rivers similar in air and flow", "What to expect of the water", "January", "December", "off by 3 °C or more", "Expected model error"} {
		if !strings.Contains(flat, want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
	if strings.Contains(flat, "RMSE") || strings.Contains(flat, "NaN") {
		t.Errorf("scores without readings:\n%s", out.String())
	}
	dir, config := write(t, becks+fmt.Sprintf(aBeck, "Dry Beck", 54.6, "dry"))
	var gauge, weather strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(inventedWater(1000)), "\n") {
		f := strings.Split(strings.ReplaceAll(line, "NA", ""), ",")
		if i == 0 {
			gauge.WriteString(line + "\n")
			weather.WriteString(line + "\n")
			continue
		}
		fmt.Fprintf(&gauge, "%s 00:00,,,%s\n", f[0], f[3])
		for h := range 24 {
			fmt.Fprintf(&weather, "%s %02d:00,%s,,\n", f[0], h, f[1])
		}
	}
	for name, text := range map[string]string{"dry.csv": gauge.String(), "weather.csv": weather.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	now := time.Date(2019, 1, 1, 12, 0, 0, 0, time.UTC).AddDate(0, 0, 1000)
	if code, out, errs := call(t, now, "ingest", "--config", config); code != 0 {
		t.Fatalf("ingest: %s%s", out, errs)
	}
	if _, out, _ := call(t, now, "doctor", "--offline", "--config", config); !strings.Contains(strings.Join(strings.Fields(out), " "), "logger left in the water for the next two months would cut that to") {
		t.Errorf("doctor does not say what a logger gains:\n%s", out)
	}
	if code, out, errs := call(t, now, "water", "Dry Beck", "--config", config); code != 0 || !strings.Contains(out, "What to expect of the water") {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
}

// Half a year of readings is fitted, in part, and the last third of it judges the fit;
// everything that shows the river says that it is part of a year.
func TestARiverWithHalfAYearOfWaterIsFittedAndSaysSo(t *testing.T) {
	t.Parallel()
	_, config, now := becksIngested(t)
	code, out, errs := call(t, now, "water", "Young Beck", "--config", config, "--format", "json")
	if code != 0 {
		t.Fatal(errs)
	}
	var got struct {
		Grade, Fallback string
		Fit, Check      struct{ Model struct{ Days int } }
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if got.Grade != "model fitted here, less than a year of readings" || got.Fallback != "" || got.Fit.Model.Days < 95 || got.Fit.Model.Days > 105 || got.Check.Model.Days < 45 {
		t.Errorf("%+v", got)
	}
	code, out, errs = call(t, now, "forecast", "--details", "--river", "Young Beck", "--config", config)
	if code != 0 {
		t.Fatal(errs)
	}
	if flat := strings.Join(strings.Fields(out), " "); !strings.Contains(flat, "model fitted here, less than a year of readings") || !strings.Contains(flat, "days of readings here (less than a year)") {
		t.Errorf("the outlook does not say how little is known:\n%s", out[:min(len(out), 1500)])
	}
	if _, out, _ = call(t, now, "doctor", "--config", config); !strings.Contains(strings.Join(strings.Fields(out), " "), "borrowed from similar rivers") {
		t.Errorf("doctor does not say it:\n%s", out)
	}
}

func TestWaterNamesOneRecord(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{}, {"Wend"}, {"Wend", "--csv", "x.csv", "--fit-until", "2020-01-01"}, {"--csv", "x.csv", "--fit-until", "2020-01-01", "--out", "x.png"}} {
		code, _, errs := call(t, time.Now(), append([]string{"water"}, args...)...)
		if code != 2 || strings.Count(strings.TrimSpace(errs), "\n") > 40 || errs == "" {
			t.Errorf("%v: exit %d, %q", args, code, errs)
		}
	}
}

func FuzzReadWaterNeverPanics(f *testing.F) {
	f.Add("date,air_c,water_c,flow_m3s\n2019-01-01,1,2,3\n2019-01-03,,NA,-1\n")
	f.Add("\ufeffWater_C,date,air_c\n1,2019-01-01,2\n")
	f.Fuzz(func(t *testing.T, s string) {
		rec, err := readWater("fuzz", strings.NewReader(s))
		if err == nil && (len(rec.Air) == 0 || len(rec.Air) != len(rec.Water)) {
			t.Errorf("%d days of air, %d of water", len(rec.Air), len(rec.Water))
		}
	})
}
