package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/occurrence"
)

const someRecords = `occurrenceID,eventDate,scientificName,lifeStage,decimalLatitude,decimalLongitude,license,rightsHolder
a:1,2020-06-01,Ephemera danica,adult,51.5,-1.5,cc0,A. Person
a:2,2020-06-02,Ephemera danica,nymph,51.5,-1.5,cc0,A. Person
a:3,2020-06-02,Parus major,adult,51.5,-1.5,cc-by,B. Person
a:4,2020-06-02,Ephemera danica,subimago,51.5,-1.5,,A. Person
`

func sightingsRun(t *testing.T, args ...string) (code int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	code = runEnv(&env{ctx: t.Context(), stdin: strings.NewReader(""), stdout: &o, stderr: &e, now: func() time.Time { return time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC) }}, args)
	return code, o.String(), e.String()
}

func TestImportSaysWhatItTakesAndWhyNotTheRest(t *testing.T) {
	dir := t.TempDir()
	file, base := filepath.Join(dir, "records.csv"), filepath.Join(dir, "x.db")
	if err := os.WriteFile(file, []byte(someRecords), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := sightingsRun(t, "sightings", "import", file, "--dry-run", "--format", "json", "--database", base)
	var got struct {
		DryRun  bool `json:"dry_run"`
		Read    int  `json:"read"`
		Taken   int  `json:"taken"`
		Records []struct{ ID, Group, Stage, LeftOut, Credit string }
	}
	if err := json.Unmarshal([]byte(out), &got); code != 0 || err != nil || !got.DryRun || got.Read != 4 || got.Taken != 1 || len(got.Records) != 4 {
		t.Fatalf("%d %s %v\n%s", code, errOut, err, out)
	}
	if x := got.Records[0]; x.Group != "danica-mayfly" || x.Stage != "egg-laying" || !strings.Contains(x.Credit, "A. Person") {
		t.Errorf("%+v", x)
	}
	if _, err := os.Stat(base); err == nil {
		t.Error("a dry run made a database")
	}
	for _, want := range []string{"1 new, 0 changed, 0 unchanged", "0 new, 0 changed, 1 unchanged"} {
		code, out, errOut = sightingsRun(t, "sightings", "import", file, "--database", base)
		if code != 0 || !strings.Contains(out, want) || !strings.Contains(out, "Parus major") || !strings.Contains(out, "its licence is not open") {
			t.Errorf("%d %s\n%s", code, errOut, out)
		}
	}
	code, _, errOut = sightingsRun(t, "sightings", "import", filepath.Join(dir, "none.csv"), "--database", base)
	if code != 2 {
		t.Errorf("a file that is not there: %d %s", code, errOut)
	}
}

// What is written as Darwin Core and what a neighbour gets: the diary there and
// back, with absences and effort, and without anybody's name.
func TestTheDiaryGoesOutAsDarwinCoreAndToNeighbours(t *testing.T) {
	dir := t.TempDir()
	conf := func(name, slug string, lat float64) string {
		path := filepath.Join(dir, name+".toml")
		text := "database = \"" + name + ".db\"\n[[river]]\nname = \"" + slug + "\"\nzone = \"UTC\"\nlat = " + strconv.FormatFloat(lat, 'f', -1, 64) + "\nlon = -121.4\nregion = \"pacific-nw-ca\"\n[[river.gauge]]\nfeed = \"csv\"\nsite = \"x\"\nfile = \"x.csv\"\n[[feeds.csv.column]]\nname = \"t\"\nvariable = \"water_temperature\"\nunit = \"°C\"\n"
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	garrow, wend := conf("garrow", "Garrow", 45.2), conf("wend", "Wend", 45.3)
	must := func(args ...string) string {
		t.Helper()
		code, out, errOut := sightingsRun(t, args...)
		if code != 0 {
			t.Fatalf("%v: %d %s", args, code, errOut)
		}
		return out
	}
	must("diary", "add", "--config", garrow, "--river", "garrow", "--group", "salmonfly", "--stage", "egg-laying", "--amount", "many", "--hours", "2", "--date", "2026-06-14", "--observer", "Jane Doe", "--notes", "with Jim")
	must("diary", "add", "--config", garrow, "--river", "garrow", "--group", "salmonfly", "--stage", "emergence", "--amount", "none", "--hours", "1.5", "--date", "2026-05-14")
	for _, format := range []string{"csv", "archive"} {
		file := filepath.Join(dir, "out."+format)
		must("sightings", "export", "--config", garrow, "--licence", "cc0", "--format", format, "--out", file)
		var list []occurrence.Record
		take := func(r occurrence.Record) error { list = append(list, r); return nil }
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(b), "Jane") || strings.Contains(string(b), "Jim") {
			t.Errorf("%s names somebody", format)
		}
		if format == "csv" {
			err = occurrence.ReadText(bytes.NewReader(b), take)
		} else {
			err = occurrence.ReadArchive(bytes.NewReader(b), int64(len(b)), take)
		}
		if err != nil || len(list) != 2 {
			t.Fatalf("%s: %d, %v", format, len(list), err)
		}
		blank, seen := list[0], list[1]
		if !blank.Absent || blank.EffortHours != 1.5 || seen.Absent || seen.EffortHours != 2 || seen.Behaviour != "egg-laying" || seen.Licence != occurrence.CC0 || seen.Start.Format(time.DateOnly) != "2026-06-14" {
			t.Errorf("%s: %+v\n%+v", format, blank, seen)
		}
	}
	file := filepath.Join(dir, "garrow.json")
	must("sightings", "share", "--config", garrow, "--out", file)
	if out := must("sightings", "receive", "--config", wend, file); !strings.Contains(out, "2 added") {
		t.Error(out)
	}
	if out := must("diary", "list", "--config", wend); !strings.Contains(out, "2026-06-14") || strings.Contains(out, "Jane") {
		t.Error(out)
	}
	if code, _, errOut := sightingsRun(t, "sightings", "receive", "--config", garrow, file); code == 0 {
		t.Errorf("its own file was received: %s", errOut)
	}
	must("sightings", "share", "--config", garrow, "--leave", "--out", file)
	must("sightings", "receive", "--config", wend, file)
	if out := must("diary", "list", "--config", wend); strings.Contains(out, "2026-06-14") {
		t.Errorf("after it left: %s", out)
	}
}

// The catalogue's windows as a Darwin Core archive are taken by a reader that is not
// ours, name their sources, and are no sightings for whoever imports them.
func TestWindowsGoOutAsDarwinCore(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatal(err)
		}
		t.Skip("no python3: nobody else reads the archive")
	}
	dir := t.TempDir()
	cfg, file := filepath.Join(dir, "eclose.toml"), filepath.Join(dir, "windows.zip")
	if err := os.WriteFile(cfg, []byte("store = \"series\"\ndatabase = \"x.db\"\n\n[[river]]\nname = \"Wend\"\nlat = 45.2\nlon = -131.4\nregion = \"rockies\"\nzone = \"UTC\"\n[[river.gauge]]\nfeed = \"usgs\"\nsite = \"99000001\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errOut := sightingsRun(t, "sightings", "export", "--config", cfg, "--windows", "--licence", "cc-by", "--out", file)
	if code != 0 {
		t.Fatal(errOut)
	}
	b, err := exec.CommandContext(t.Context(), python, filepath.Join("..", "..", "testdata", "darwincore", "read.py"), file).CombinedOutput()
	var got struct{ Occurrences []map[string]string }
	if err != nil || json.Unmarshal(b, &got) != nil || len(got.Occurrences) < 1000 {
		t.Fatalf("%v, %d windows, %.300s", err, len(got.Occurrences), b)
	}
	for _, x := range got.Occurrences {
		if x["associatedReferences"] == "" || x["higherGeography"] == "" || x["basisOfRecord"] == "MaterialCitation" && len(x["associatedReferences"]) < 12 {
			t.Errorf("%s: %q, %q", x["occurrenceID"], x["associatedReferences"], x["higherGeography"])
		}
	}
	code, out, errOut := sightingsRun(t, "sightings", "import", file, "--dry-run", "--database", filepath.Join(dir, "y.db"))
	if code != 0 || !strings.Contains(out, " 0 records taken") {
		t.Errorf("windows are taken for sightings: %d %s %s", code, errOut, out)
	}
}
