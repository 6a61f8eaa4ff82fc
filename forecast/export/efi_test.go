package export

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/insects"
)

// python runs a script of testdata with the Python of Debian.
func python(t *testing.T, into any, args ...string) {
	t.Helper()
	const debian = "/usr/bin/python3"
	if exec.Command(debian, "-c", "import pandas").Run() != nil {
		if os.Getenv("ECLOSE_CI") != "" {
			t.Fatalf("%s with pandas is missing", debian)
		}
		t.Skipf("%s with pandas is missing: nobody checks the file", debian)
	}
	out, err := exec.CommandContext(t.Context(), debian, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", args[0], err, stderr(err))
	}
	if err := json.Unmarshal(out, into); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
}

// measured is a record with three days of water and flow after the issue, 0.5 °C
// above the median and 1 m3/s below.
func measured(o *forecast.Outlook) forecast.Record {
	rec := forecast.Record{Day0: o.IssueDate()}
	for i := range 3 {
		w, _ := o.WaterOn(rec.Day0 + forecast.Date(i))
		f, _ := o.Flow.On(rec.Day0 + forecast.Date(i))
		rec.Water, rec.Flow = append(rec.Water, w.P50+0.5), append(rec.Flow, f.P50-1)
	}
	return rec
}

func watched(o *forecast.Outlook) []forecast.Sighting {
	of := func(lead int, amount diary.Amount, hours float64, kind forecast.SightingKind) forecast.Sighting {
		return forecast.Sighting{River: o.River, Group: "spring-olive", Stage: forecast.Emergence, Day: o.IssueDate() + forecast.Date(lead), Amount: amount, Hours: hours, Kind: kind}
	}
	return []forecast.Sighting{
		of(1, diary.Many, 2, forecast.Own), of(2, diary.None, 2, forecast.Own), of(2, diary.None, 1, forecast.Own),
		of(3, diary.None, 0.5, forecast.Own),     // too short to count
		of(4, diary.Many, 2, forecast.Readers),   // not the owner's to publish
		of(1, diary.None, 1.5, forecast.Own),     // the second visit of a day on which it was seen
		of(5, diary.Few, 2, forecast.Neighbours), // not the owner's to publish
	}
}

// TestTheForecastKeepsTheConvention has a script that was written from the
// convention's text read a forecast and what came, judge both, and score them.
func TestTheForecastKeepsTheConvention(t *testing.T) {
	o := outlook("wend", 60)
	dir := t.TempDir()
	targets := filepath.Join(dir, "targets.csv")
	var files []string
	write := func(name string, members *forecast.Ensemble) (rows []Prediction) {
		rows = slices.Collect(Predictions(o, members, 0, 0))
		files = append(files, filepath.Join(dir, name))
		if _, err := WriteTableFile(files[len(files)-1], CSV, EFI, meta, Rows(rows)); err != nil {
			t.Fatal(err)
		}
		return rows
	}
	if _, err := WriteTableFile(targets, CSV, Targets, meta, Rows(slices.Collect(Observed(o.River, measured(o), watched(o), 0, 0)))); err != nil {
		t.Fatal(err)
	}
	rows := write("quantiles.csv", nil)
	e := &forecast.Ensemble{From: o.IssueDate()}
	for m := range 20 {
		e.WaterC = append(e.WaterC, []float64{10 + float64(m)/10, 11})
		e.FlowM3s = append(e.FlowM3s, []float64{1234.56 + float64(m), 0.012345})
	}
	members := write("members.csv", e)
	spoilt := [][3]string{ // the fault, and what is put for what
		{"CF name", "emergence_of_spring_olive", "emergence-of-spring-olive"}, {"table S1", ",ensemble,", ",guesswork,"},
		{"ISO 8601", "P1D", "a day"}, {"order", "site_id,family", "family,site_id"}, {"bernoulli lack", ",prob,", ",chance,"}, {"not 1 to n", ",ensemble,1,", ",ensemble,21,"},
	}
	good, err := os.ReadFile(files[1])
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range spoilt {
		files = append(files, filepath.Join(dir, s[0]+".csv"))
		if err := os.WriteFile(files[len(files)-1], bytes.ReplaceAll(good, []byte(s[1]), []byte(s[2])), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var verdicts []struct {
		Faults, Families, Models []string
		Rows, Targets, Members   int
		Sum                      float64
		MAE, Brier               map[string]float64
	}
	python(t, &verdicts, append([]string{"testdata/efi.py", targets}, files...)...)

	v, sum := verdicts[0], 0.0
	for _, r := range rows {
		sum += r.Prediction
	}
	if len(v.Faults) > 0 || v.Rows != len(rows) || math.Abs(v.Sum-sum) > 1e-6 || v.Targets != 8 || !slices.Equal(v.Families, []string{"bernoulli", "summary"}) ||
		!slices.Equal(v.Models, []string{"eclose-1", "eclose-1-calendar"}) {
		t.Errorf("%+v of %d rows with the sum %v", v, len(rows), sum)
	}
	// Scores worked out here from the outlook itself: once seen and once not.
	olive := o.Stages[0].Days
	one, _ := olive.On(o.IssueDate() + 1)
	two, _ := olive.On(o.IssueDate() + 2)
	for model, want := range map[string]float64{
		"eclose-1":          ((1-one.P)*(1-one.P) + two.P*two.P) / 2,
		"eclose-1-calendar": ((1-one.PCalendar)*(1-one.PCalendar) + two.PCalendar*two.PCalendar) / 2,
	} {
		if math.Abs(v.Brier[model]-want) > 1e-9 {
			t.Errorf("Brier score of %s: %v, want %v", model, v.Brier[model], want)
		}
	}
	if math.Abs(v.MAE[WaterVariable]-0.5) > 1e-9 || math.Abs(v.MAE[FlowVariable]-1) > 1e-9 {
		t.Errorf("mean errors %v, want 0.5 and 1", v.MAE)
	}

	if v = verdicts[1]; len(v.Faults) > 0 || v.Members != 20 || v.Rows != len(members) || !slices.Equal(v.Families, []string{"bernoulli", "ensemble"}) {
		t.Errorf("with members: %+v", v)
	}
	for _, r := range members {
		if r.Variable == FlowVariable && r.Parameter == "1" && r.Prediction != 1235 && r.Prediction != 0.01235 {
			t.Errorf("flow of the first member %v: four digits are wanted", r.Prediction)
		}
	}
	// The script must be able to say no.
	for i, s := range spoilt {
		if v := verdicts[2+i]; !strings.Contains(strings.Join(v.Faults, "\n"), s[0]) {
			t.Errorf("%q for %q: the faults are %q", s[2], s[1], v.Faults)
		}
	}
}

// Two groups whose names differ would be one variable if the hyphen's place did not
// tell them apart.
func TestEachEventHasAVariableOfItsOwn(t *testing.T) {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]string{}
	for _, g := range c.Groups() {
		for _, stage := range forecast.Stages {
			name, who := EventVariable(stage, g.Key), g.Key+" "+string(stage)
			if other, twice := seen[name]; twice {
				t.Errorf("%s stands for %s and %s", name, other, who)
			}
			seen[name] = who
		}
	}
	if len(seen) < 200 {
		t.Errorf("%d variables: the catalogue was not read", len(seen))
	}
}

// TestCSVIsOnTheWeb has a script that was written from the W3C's Recommendation
// judge each kind of CSV file with its description.
func TestCSVIsOnTheWeb(t *testing.T) {
	dir := t.TempDir()
	o := outlook("wend", 60)
	rows := rowsOf(o, outlook("garrow", 60))
	rows[3].DataCutoff, rows[5].ThermalWeight = time.Time{}, math.NaN() // no value
	var files []string
	var wrote []int
	add := func(name string, write func(path string) (int, error)) {
		files = append(files, filepath.Join(dir, name))
		n, err := write(files[len(files)-1])
		if err != nil {
			t.Fatal(err)
		}
		wrote = append(wrote, n)
	}
	add("outlook.csv", func(path string) (int, error) { return WriteFile(path, CSV, meta, Rows(rows)) })
	add("efi.csv", func(path string) (int, error) {
		return WriteTableFile(path, CSV, EFI, meta, Rows(slices.Collect(Predictions(o, nil, 0, 0))))
	})
	add("targets.csv", func(path string) (int, error) {
		return WriteTableFile(path, CSV, Targets, meta, Rows(slices.Collect(Observed(o.River, measured(o), watched(o), 0, 0))))
	})
	spoilt := [][4]string{ // the fault, the file, and what is put for what
		{"is not declared", "-metadata.json", `"dc:title"`, `"cf:title"`}, {"no property", "-metadata.json", `"primaryKey"`, `"key"`},
		{"datatype decimal", "-metadata.json", `"datatype": "double"`, `"datatype": "decimal1"`},
		{"is no date", "", "2026-05-02", "2 May"}, {"header", "", "day,river", "river,day"}, {"required", "", ",wend,", ",,"}, {"twice", "", "2026-05-03", "2026-05-02"},
	}
	for i, s := range spoilt {
		sub := filepath.Join(dir, strconv.Itoa(i))
		if err := os.Mkdir(sub, 0o700); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"outlook.csv", "outlook.csv-metadata.json"} {
			b, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			if name == "outlook.csv"+s[1] {
				b = bytes.ReplaceAll(b, []byte(s[2]), []byte(s[3]))
			}
			if err := os.WriteFile(filepath.Join(sub, name), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		files = append(files, filepath.Join(sub, "outlook.csv"))
	}
	var verdicts []struct {
		Faults []string
		Rows   int
		Text   string
	}
	python(t, &verdicts, append([]string{"testdata/csvw.py"}, files...)...)
	for i, n := range wrote {
		if v := verdicts[i]; len(v.Faults) > 0 || v.Rows != n || n == 0 || !strings.Contains(v.Text, forecast.StandingCaution) {
			t.Errorf("%s, %d rows: %d rows, %q, caution %v", files[i], n, v.Rows, v.Faults, strings.Contains(v.Text, forecast.StandingCaution))
		}
	}
	// The script must be able to say no.
	for i, s := range spoilt {
		if v := verdicts[len(wrote)+i]; !strings.Contains(strings.Join(v.Faults, "\n"), s[0]) {
			t.Errorf("%q for %q: the faults are %q", s[3], s[2], v.Faults)
		}
	}
}
