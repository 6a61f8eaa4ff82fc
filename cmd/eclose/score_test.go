package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

// wend is the Wend of the invented country alone, three years of it.
func wend(t *testing.T) (dir, path string) {
	t.Helper()
	parts := strings.SplitAfterN(tarnFellsConfig(3), "\n[[river]]", 3)
	return ingestedFor(t, parts[0]+strings.TrimSuffix(parts[1], "[[river]]"))
}

// keep issues the outlook of noon of a date and keeps it as the service would.
func keep(t *testing.T, path, date string) *forecast.Outlook {
	t.Helper()
	cfg, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	outlooks, err := app.IssueAll(t.Context(), cfg, nil, date, demo.Issue.AddDate(0, 1, 0), 20)
	if err != nil {
		t.Fatal(err)
	}
	d, err := db.OpenMigrated(t.Context(), cfg.DatabaseURL())
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	files, err := series.OpenFiles(t.Context(), cfg.StoreURL())
	if err != nil {
		t.Fatal(err)
	}
	defer files.Close()
	if err := archive.New(d, files).Save(t.Context(), outlooks[0], outlooks[0].IssuedAt); err != nil {
		t.Fatal(err)
	}
	return outlooks[0]
}

func chance(t *testing.T, o *forecast.Outlook, group string, stage forecast.Stage, day string) float64 {
	t.Helper()
	for i := range o.Stages {
		if s := &o.Stages[i]; s.Group == group && s.Stage == stage {
			at, err := time.Parse(time.DateOnly, day)
			if err != nil {
				t.Fatal(err)
			}
			if d, ok := s.On(forecast.DateOf(at)); ok {
				return d.P
			}
		}
	}
	t.Fatalf("no chance of %s %s on %s", group, stage, day)
	return 0
}

// Outlooks are kept on two Mondays, sightings come later, and what the command
// says is worked out here from the outlooks themselves.
func TestScoreJudgesKeptOutlooksAsSightingsArrive(t *testing.T) {
	t.Parallel()
	dir, path := wend(t)
	first, second := keep(t, path, "2026-05-04"), keep(t, path, "2026-05-11")
	later := time.Date(2026, 6, 1, 18, 0, 0, 0, time.UTC)

	code, out, errs := call(t, later, "score", "--config", path)
	if code != 0 || !strings.Contains(out, "no sightings from 2026") {
		t.Fatalf("exit %d before any sighting: %s%s", code, out, errs)
	}

	diary := filepath.Join(dir, "diary.csv")
	text := "date,river,group,stage,amount,hours\n" +
		"2026-05-11,wend,grannom-spring,emergence,few,2\n" +
		"2026-05-13,wend,grannom-spring,egg-laying,none,4\n" +
		"2026-05-11,nowhere,grannom-spring,emergence,many,2\n" +
		"2026-03-02,wend,skwala,emergence,none,2\n" // before any outlook
	if err := os.WriteFile(diary, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := call(t, later, "diary", "import", "--database", filepath.Join(dir, "eclose.db"), diary); code != 0 {
		t.Fatal(out, errs)
	}
	report := filepath.Join(dir, "report")
	code, out, errs = call(t, later, "score", "--config", path, "--leads", "0,7", "--out", report)
	if code != 0 {
		t.Fatal(errs)
	}
	if !strings.Contains(errs, "1 sightings not scored") {
		t.Errorf("standard error: %s", errs)
	}
	// At no lead: the 11th by that of the 11th, the 13th by the same; at seven
	// days the 11th by that of the 4th, the 13th (from the 6th) by the same.
	sq := func(o *forecast.Outlook) float64 {
		seen := 1 - chance(t, o, "grannom-spring", forecast.Emergence, "2026-05-11")
		none := 1 - math.Pow(1-chance(t, o, "grannom-spring", forecast.EggLaying, "2026-05-13"), 2) // four hours
		return (seen*seen + none*none) / 2
	}
	for lead, want := range map[int]float64{0: sq(second), 7: sq(first)} {
		found := false
		for line := range strings.SplitSeq(out, "\n") {
			w := strings.Fields(line)
			if len(w) == 6 && w[0] == fmt.Sprint(lead) {
				found = true
				if w[1] != "2" || w[2] != fmt.Sprintf("%.3f", want) || w[3] != w[4] || w[5] != "-" {
					t.Errorf("at %d days: %q, want a Brier score of %.3f of 2", lead, line, want)
				}
			}
		}
		if !found {
			t.Errorf("no line of lead %d in\n%s", lead, out)
		}
	}
	for _, want := range []string{"fewer than 8 seasons are too few", "0 is perfect", "report.html"} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("it does not say %q:\n%s", want, out)
		}
	}
	page, err := os.ReadFile(filepath.Join(report, "report.html"))
	if err != nil || !strings.Contains(string(page), "as issued at the time") {
		t.Errorf("the report does not say what was judged: %v", err)
	}

	// A year without kept outlooks is issued again, and says so.
	if _, out, errs = call(t, later, "score", "--config", path, "--season", "2025"); !strings.Contains(out, "no sightings from 2025") {
		t.Errorf("%s%s", out, errs)
	}
}

func TestExportWritesTheKeptOutlookInEveryFormat(t *testing.T) {
	t.Parallel()
	dir, path := wend(t)
	kept := keep(t, path, "2026-05-11")
	now := demo.Issue.AddDate(0, 0, 7)
	file := func(format string) string { return filepath.Join(dir, "out."+format) }
	for _, f := range export.Formats {
		code, out, errs := call(t, now, "export", "--config", path, "--format", string(f), "--rivers", "wend", "--from", "2026-05-20", "--to", "2026-06-20", "--out", file(string(f)))
		if code != 0 || out != "" || !strings.Contains(errs, "1 saved forecasts, 0 issued now") {
			t.Fatalf("%s: exit %d, %q, %q", f, code, out, errs)
		}
		b, err := os.ReadFile(file(string(f)))
		if err != nil {
			t.Fatal(err)
		}
		if f == export.CSV { // described beside it
			d, err := os.ReadFile(file("csv-metadata.json"))
			if err != nil {
				t.Fatal(err)
			}
			b = append(b, d...)
		}
		unfolded := strings.NewReplacer("\r\n ", "", `\,`, ",", `\;`, ";").Replace(string(b))
		for _, want := range []string{forecast.StandingCaution, "model version " + forecast.ModelVersion} {
			if !strings.Contains(unfolded, want) {
				t.Errorf("%s does not say %q", f, want)
			}
		}
		if f != export.ICS && (!strings.Contains(unfolded, "schema_version") && !strings.Contains(unfolded, "schema:version") || !strings.Contains(unfolded, "CF-1.11")) {
			t.Errorf("%s names no schema version or convention", f)
		}
	}

	// What the file holds is what was kept, not what would be said now.
	f, err := os.Open(file("csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range all[0] {
		at[name] = i
	}
	want := 0
	from, to := forecast.DateOf(time.Date(2026, 5, 20, 0, 0, 0, 0, time.UTC)), forecast.DateOf(time.Date(2026, 6, 20, 0, 0, 0, 0, time.UTC))
	for row := range export.Flatten(kept, from, to) {
		want++
		if want >= len(all) {
			break
		}
		got := all[want]
		if got[at["day"]] != row.Day.String() || got[at["group"]] != row.Group || got[at["stage"]] != row.Stage || got[at["p"]] != fmt.Sprint(row.P) || got[at["issued_at"]] != "2026-05-11T19:00:00Z" {
			t.Fatalf("row %d: %v, want %+v", want, got, row)
		}
	}
	if want != len(all)-1 || want < 1000 {
		t.Errorf("%d rows, want %d", len(all)-1, want)
	}

	// The same command gives the same bytes; anew gives others, and says so.
	again := filepath.Join(dir, "again.parquet")
	args := []string{"export", "--config", path, "--format", "parquet", "--from", "2026-05-20", "--to", "2026-06-20"}
	if code, _, errs := call(t, now.Add(time.Hour), append(args, "--out", again)...); code != 0 {
		t.Fatal(errs)
	}
	a, _ := os.ReadFile(file("parquet"))
	b, _ := os.ReadFile(again)
	if len(a) == 0 || string(a) != string(b) {
		t.Error("an hour later the same kept outlook gives other bytes")
	}
	code, _, errs := call(t, now, append(args, "--out", again, "--anew", "--members", "20")...)
	if code != 0 || !strings.Contains(errs, "1 issued now") {
		t.Fatalf("exit %d, %s", code, errs)
	}
	if c, _ := os.ReadFile(again); string(a) == string(c) {
		t.Error("an outlook issued anew is the kept one")
	}
}

func TestExportRefusesAndLeavesNoHalfFile(t *testing.T) {
	dir, path := write(t, oneGauge("http://127.0.0.1:1"))
	out := filepath.Join(dir, "out.csv")
	for name, c := range map[string]struct {
		args []string
		code int
		want string
	}{
		"no store yet":         {nil, 1, "run eclose ingest first"},
		"a date that is none":  {[]string{"--from", "May"}, 2, "--from"},
		"backwards":            {[]string{"--from", "2026-06-01", "--to", "2026-05-01"}, 2, "is before --from"},
		"a river that is none": {[]string{"--rivers", "Styx"}, 2, `no river "Styx"`},
		"two members":          {[]string{"--members", "2"}, 2, "10 to 5000"},
		"an unknown format":    {[]string{"--format", "xls"}, 2, "must be one of"},
		"members of the kept":  {[]string{"--format", "efi", "--with-members"}, 2, "saved forecasts hold no members"},
		"members in a table":   {[]string{"--anew", "--with-members"}, 2, "use --format efi"},
		"many issues anew":     {[]string{"--issued-from", "2026-05-01", "--anew"}, 2, "--issued-from lists saved forecasts"},
		"many issues on a map": {[]string{"--issued-from", "2026-05-01", "--format", "geojson"}, 2, "one forecast a river"},
		"one file for two":     {[]string{"--observations", out}, 2, "the same file"},
	} {
		args := append([]string{"export", "--config", path, "--out", out}, c.args...)
		if !strings.Contains(strings.Join(args, " "), "--format") {
			args = append(args, "--format", "csv")
		}
		code, _, errs := call(t, demo.Issue, args...)
		if code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%s: exit %d: %s", name, code, errs)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%s: left a file", name)
		}
	}
}

// What the diary says, and what is learnt from it, after an issue must not reach
// that issue's outlook; learnt before it, it must.
func TestAnOutlookKnowsNothingOfLaterSightings(t *testing.T) {
	t.Parallel()
	dir, path := wend(t)
	database := filepath.Join(dir, "eclose.db")
	issued := func() string {
		code, out, errs := call(t, demo.Issue.AddDate(0, 2, 0), "forecast", "--config", path, "--issue-date", "2026-05-18", "--format", "json", "--members", "20")
		if code != 0 {
			t.Fatal(errs)
		}
		var o []json.RawMessage
		if err := json.Unmarshal([]byte(out), &o); err != nil || len(o) != 1 {
			t.Fatalf("%d outlooks, %v", len(o), err)
		}
		return out
	}
	learn := func(at time.Time, date string) {
		t.Helper()
		for _, args := range [][]string{
			{"diary", "add", "--database", database, "--river", "wend", "--group", "western-green-drake", "--stage", "emergence", "--date", date, "--amount", "many", "--hours", "3"},
			{"calibrate", "wend", "--config", path},
		} {
			if code, out, errs := call(t, at, args...); code != 0 {
				t.Fatal(out, errs)
			}
		}
	}
	before := issued()
	learn(time.Date(2026, 5, 18, 20, 0, 0, 0, time.UTC), "2026-05-18") // an hour after noon at the river
	if issued() != before {
		t.Error("a sighting of the same evening changed the outlook of noon")
	}
	learn(time.Date(2026, 6, 20, 20, 0, 0, 0, time.UTC), "2026-06-18")
	if issued() != before {
		t.Error("a sighting of a month later changed the outlook")
	}
	// The test must be able to fail: what was learnt in time does change it.
	learn(time.Date(2026, 5, 17, 20, 0, 0, 0, time.UTC), "2026-05-16")
	if issued() == before {
		t.Error("a sighting learnt before the issue changed nothing: the test sees nothing")
	}
}
