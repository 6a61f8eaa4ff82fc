package main

import (
	"encoding/csv"
	"maps"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/forecast/export"
	"example.org/eclose/notify/syndicate"
)

// rowsByName reads a CSV file as one map a row.
func rowsByName(t *testing.T, path string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = r[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// TestExportForScoring takes the way of a researcher: the forecasts that were kept
// since a date, and what came, in two files that join by site, day and variable.
func TestExportForScoring(t *testing.T) {
	t.Parallel()
	dir, path := wend(t)
	keep(t, path, "2026-05-11")
	keep(t, path, "2026-05-15")
	if code, _, errs := call(t, demo.Issue, "diary", "add", "--database", filepath.Join(dir, "eclose.db"), "--river", "wend", "--group", "western-green-drake", "--stage", "emergence", "--date", "2026-05-16", "--amount", "none", "--hours", "2"); code != 0 {
		t.Fatal(errs)
	}
	forecasts, targets := filepath.Join(dir, "f.csv"), filepath.Join(dir, "t.csv")
	code, _, errs := call(t, demo.Issue, "export", "--config", path, "--format", "efi", "--issued-from", "2026-05-01", "--to", "2026-05-20", "--out", forecasts, "--observations", targets)
	if code != 0 || !strings.Contains(errs, "2 saved forecasts, 0 issued now") {
		t.Fatalf("exit %d: %s", code, errs)
	}
	came := map[[2]string]float64{}
	for _, r := range rowsByName(t, targets) {
		if r["caution"] != export.RowCaution || r["site_id"] != "wend" {
			t.Fatalf("target %v", r)
		}
		v, err := strconv.ParseFloat(r["observation"], 64)
		if err != nil {
			t.Fatal(err)
		}
		came[[2]string{r["datetime"], r["variable"]}] = v
	}
	if v, ok := came[[2]string{"2026-05-16", "emergence_of_western_green_drake"}]; !ok || v != 0 {
		t.Errorf("the blank session is not among %d targets", len(came))
	}
	if _, ok := came[[2]string{demo.Issue.Format("2006-01-02"), export.WaterVariable}]; ok {
		t.Error("a day that is not over has an observation")
	}
	issues, joined := map[string]bool{}, map[string]int{}
	for _, r := range rowsByName(t, forecasts) {
		issues[r["reference_datetime"]] = true
		if v, ok := came[[2]string{r["datetime"], r["variable"]}]; ok && (r["parameter"] == "median" || r["parameter"] == "prob") {
			joined[r["variable"]]++
			if p, err := strconv.ParseFloat(r["prediction"], 64); err != nil || r["variable"] == export.WaterVariable && (p < v-6 || p > v+6) {
				t.Errorf("%v came as %v, %v", r, v, err)
			}
		}
	}
	// Water and flow of 11 to 17 May by one issue and of 15 to 17 May by the other.
	if len(issues) != 2 || joined[export.WaterVariable] != 10 || joined[export.FlowVariable] != 10 || joined["emergence_of_western_green_drake"] != 4 {
		t.Errorf("issues %v, joined %v", issues, joined)
	}

	// Members are those of the same issue: their median is the one without them.
	median := func(args ...string) (all map[string][]float64) {
		out := filepath.Join(dir, "members.csv")
		args = append([]string{"export", "--config", path, "--format", "efi", "--issue-date", "2026-05-11", "--to", "2026-05-14", "--members", "21", "--out", out}, args...)
		if code, _, errs := call(t, demo.Issue, args...); code != 0 {
			t.Fatal(errs)
		}
		all = map[string][]float64{}
		for _, r := range rowsByName(t, out) {
			if v, err := strconv.ParseFloat(r["prediction"], 64); err == nil && (r["parameter"] == "median" || r["family"] == "ensemble") {
				all[r["variable"]+r["datetime"]] = append(all[r["variable"]+r["datetime"]], v)
			}
		}
		return all
	}
	one, all := median(), median("--with-members")
	for k, v := range one {
		below, above := 0, 0
		for _, m := range all[k] {
			if m < v[0]*0.999-0.006 {
				below++
			}
			if m > v[0]*1.001+0.006 {
				above++
			}
		}
		if len(all[k]) != 21 || below > 10 || above > 10 {
			t.Errorf("%s: the median is %v, the members %v", k, v, all[k])
		}
	}
	if len(one) != 8 {
		t.Errorf("%d medians", len(one))
	}
}

// TestRowsCarryTheCautionOfTheirDay reads the file that the demo writes: the day of
// the issue has the level that the demo prints, with its end; no other day has one.
func TestRowsCarryTheCautionOfTheirDay(t *testing.T) {
	t.Parallel()
	dir, path := wend(t)
	out := filepath.Join(dir, "f.csv")
	if code, _, errs := call(t, demo.Issue, "forecast", "--config", path, "--format", "csv", "--out", out, "--members", "20"); code != 0 {
		t.Fatal(errs)
	}
	_, view, _ := call(t, demo.Issue, "caution", "wend", "--config", path, "--format", "json")
	today := demo.Issue.Format("2006-01-02")
	seen := map[string]int{}
	for _, r := range rowsByName(t, out) {
		if r["day"] == today {
			seen[r["caution_level"]+" until "+r["caution_valid_until"]]++
			if at, err := time.Parse(time.RFC3339, r["caution_read_at"]); err != nil || at.After(demo.Issue) || demo.Issue.Sub(at) > 3*time.Hour {
				t.Fatalf("the gauge was read at %q, %v", r["caution_read_at"], err)
			}
		} else if r["caution_level"] != "unknown" || r["caution_valid_until"] != "" {
			t.Fatalf("%s has the level %s", r["day"], r["caution_level"])
		}
		if r["caution"] != export.RowCaution {
			t.Fatal("a row without the caution")
		}
	}
	if len(seen) != 1 {
		t.Errorf("levels of today: %v; %s", seen, view)
	}
	for s := range seen {
		level, until, _ := strings.Cut(s, " until ")
		if !strings.Contains(view, `"level": `+strings.TrimPrefix(level, "unknown-at-least-")) || strings.HasPrefix(level, "unknown") != strings.Contains(view, `"known": false`) || until != "" && !strings.Contains(view, until) {
			t.Errorf("%s, but the caution says %s", s, view)
		}
	}
}

// A calendar file holds the few windows that the calendars by address hold, so that a
// phone that takes it in is not flooded; --all writes every window.
func TestACalendarFileHoldsTheWindowsThatMatter(t *testing.T) {
	t.Parallel()
	dir, path := wend(t)
	events := func(args ...string) map[string]bool {
		t.Helper()
		out := filepath.Join(dir, "windows.ics")
		args = append([]string{"export", "--config", path, "--format", "ics", "--issue-date", "2026-05-18", "--members", "50", "--out", out}, args...)
		if code, _, errs := call(t, demo.Issue, args...); code != 0 {
			t.Fatal(errs)
		}
		b, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		found := map[string]bool{}
		for line := range strings.SplitSeq(strings.ReplaceAll(string(b), "\r\n ", ""), "\r\n") {
			if uid, ok := strings.CutPrefix(line, "UID:"); ok {
				found[uid] = true
			}
		}
		return found
	}
	few, all := events(), events("--all")
	if len(few) == 0 || len(few) > 12 || len(all) < 4*len(few) {
		t.Errorf("%d events, %d with --all", len(few), len(all))
	}
	// The same windows as on the page's calendar, by the same names.
	cfg, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	outlooks, err := app.IssueAll(t.Context(), cfg, nil, "2026-05-18", demo.Issue, 50)
	if err != nil {
		t.Fatal(err)
	}
	catalogue, err := app.LoadCatalogue(cfg)
	if err != nil {
		t.Fatal(err)
	}
	shown := map[string]bool{}
	for _, w := range syndicate.WindowsOf(outlooks[0], syndicate.Matters(outlooks[0], catalogue.Group)) {
		if w.Shown {
			shown[syndicate.UID(w.River, w.Group, w.Stage, w.Season)] = true
		}
	}
	if !maps.Equal(few, shown) {
		t.Errorf("the file holds %v, the page's calendar %v", few, shown)
	}
	if code, _, errs := call(t, demo.Issue, "export", "--config", path, "--format", "csv", "--all", "--out", filepath.Join(dir, "x.csv")); code != 2 || !strings.Contains(errs, "--all is for --format ics") {
		t.Errorf("--all with csv: exit %d, %s", code, errs)
	}
}
