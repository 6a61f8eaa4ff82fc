package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// inventedRecord is ten seasons of two invented taxa, emptied every fifth day,
// and the water beside them: warm years are early.
func inventedRecord() (records, water string) {
	var r, w strings.Builder
	r.WriteString("date,taxon,count\n")
	w.WriteString("date,temp_c\n")
	for y := range 10 {
		jan1 := time.Date(2001+y, 1, 1, 0, 0, 0, 0, time.UTC)
		warm := math.Sin(2.1 * float64(y))
		for d := range 365 {
			fmt.Fprintf(&w, "%s,%.2f\n", jan1.AddDate(0, 0, d).Format(time.DateOnly), 8-6*math.Cos(2*math.Pi*float64(d-25)/365)+warm)
		}
		for k, taxon := range []string{"Wend olive", "Garrow sedge"} {
			at := 140 + 25*float64(k) - 9*warm + 2*math.Cos(5*float64(y+k))
			for d := 60; d < 250; d += 5 {
				n := 60 * math.Exp(-math.Pow((float64(d)-at)/12, 2)/2)
				fmt.Fprintf(&r, "%s,%s,%.0f\n", jan1.AddDate(0, 0, d-1).Format(time.DateOnly), taxon, n)
			}
		}
	}
	return r.String(), w.String()
}

func backtestFiles(t *testing.T) (records, water string) {
	t.Helper()
	dir := t.TempDir()
	r, w := inventedRecord()
	records, water = filepath.Join(dir, "records.csv"), filepath.Join(dir, "water.csv")
	for name, text := range map[string]string{records: r, water: w} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return records, water
}

func TestBacktestGivesTheScoresOfEachTaxonAsJSON(t *testing.T) {
	t.Parallel()
	records, water := backtestFiles(t)
	var out, errs bytes.Buffer
	if code := run([]string{"backtest", "--records", records, "--water", water, "--format", "json"}, nil, &out, &errs); code != 0 {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	var got []map[string]any
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 {
		t.Fatalf("%d taxa", len(got))
	}
	want := []string{"coverage_80", "crps_calendar", "crps_model", "rmse_days_calendar", "rmse_days_model", "seasons", "taxon"}
	for _, taxon := range got {
		var keys []string
		for k := range taxon {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		if !slices.Equal(keys, want) {
			t.Errorf("keys %v", keys)
		}
		if taxon["seasons"] != 10.0 || taxon["rmse_days_model"].(float64) >= taxon["rmse_days_calendar"].(float64) {
			t.Errorf("%v", taxon)
		}
	}
}

func TestBacktestSaysWhenItWasIssuedAndWhatItKnew(t *testing.T) {
	t.Parallel()
	records, water := backtestFiles(t)
	var out, errs bytes.Buffer
	if code := run([]string{"backtest", "--records", records, "--water", water, "--lead", "21", "--no-catches"}, nil, &out, &errs); code != 0 {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	for _, want := range []string{"forecast 21 days before", "Temperature is known to the issue date", "Garrow sedge", "(a)", "(c)"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in\n%s", want, out.String())
		}
	}
}

func TestBacktestWithoutDailyWaterSaysSo(t *testing.T) {
	t.Parallel()
	records, _ := backtestFiles(t)
	annual := filepath.Join(t.TempDir(), "annual.csv")
	if err := os.WriteFile(annual, []byte("year,temp_c\n2001,7\n2002,8\n2003,7.5\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	// Loggers that hang from May to September only, and a day measured twice.
	summer, twice := filepath.Join(t.TempDir(), "summer.csv"), filepath.Join(t.TempDir(), "twice.csv")
	_, water := inventedRecord()
	lines := strings.SplitAfter(water, "\n")
	inSummer := slices.DeleteFunc(slices.Clone(lines[1:]), func(l string) bool { return len(l) > 7 && (l[5:7] < "05" || l[5:7] > "09") })
	for name, text := range map[string]string{summer: lines[0] + strings.Join(inSummer, ""), twice: water + "2001-01-01,9\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		args []string
		want string
	}{
		"none":   {nil, "no temperature given"},
		"annual": {[]string{"--water", annual}, "at most one value a year"},
		"summer": {[]string{"--water", summer}, "temperature was not used"},
		"twice":  {[]string{"--water", twice}, "1 days have several temperatures"},
	} {
		var out, errs bytes.Buffer
		code := run(append([]string{"backtest", "--records", records}, c.args...), nil, &out, &errs)
		if code != 0 || !strings.Contains(errs.String(), c.want) {
			t.Errorf("%s: exit %d, %q", name, code, errs.String())
		}
	}
}

func TestBacktestRefusesWithASentence(t *testing.T) {
	t.Parallel()
	records, _ := backtestFiles(t)
	for name, c := range map[string]struct {
		args []string
		in   string
		code int
		want string
	}{
		"no records":         {[]string{"backtest"}, "", 2, "--records"},
		"a lead of a year":   {[]string{"backtest", "--records", records, "--lead", "365"}, "", 2, "0 to 180"},
		"no such file":       {[]string{"backtest", "--records", "nowhere.csv"}, "", 1, "nowhere.csv"},
		"a row that is none": {[]string{"backtest", "--records", "-"}, "date,taxon,count\n2001-13-01,x,1\n", 1, "standard input:2:"},
		"too few seasons":    {[]string{"backtest", "--records", "-"}, "date,taxon,count\n2001-05-01,x,100\n", 1, "nothing to score"},
	} {
		var out, errs bytes.Buffer
		if code := run(c.args, strings.NewReader(c.in), &out, &errs); code != c.code || !strings.Contains(errs.String(), c.want) {
			t.Errorf("%s: exit %d, %q", name, code, errs.String())
		}
	}
}
