package occurrence

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// readElsewhere reads an archive with a reader that shares no line with ours: Python's
// own libraries, by the Darwin Core text guide.
func readElsewhere(t *testing.T, about About, list []Record) (title string, events int, rows []map[string]string, problem string) {
	t.Helper()
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatal(err)
		}
		t.Skip("no python3: the archive is read by nobody else")
	}
	name := filepath.Join(t.TempDir(), "archive.zip")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := WriteArchive(f, about, list); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	var bad strings.Builder
	cmd := exec.CommandContext(t.Context(), python, filepath.Join("..", "..", "testdata", "darwincore", "read.py"), name)
	cmd.Stderr = &bad
	out, err := cmd.Output()
	if err != nil {
		return "", 0, nil, bad.String()
	}
	var got struct {
		Title       string
		Events      int
		Occurrences []map[string]string
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatalf("%s: %v", out, err)
	}
	return got.Title, got.Events, got.Occurrences, ""
}

func visit(id string, absent bool) Record {
	r := New(SourceName)
	r.Key, r.Event, r.Name, r.Rank, r.Stage = "urn:test:"+id, "visit "+id[:1], "Ephemera danica", "species", Subimago
	r.Start = time.Date(2026, 6, 3, 0, 0, 0, 0, time.UTC)
	r.End, r.LatDeg, r.LonDeg, r.UncertaintyM = r.Start, 54.5, -11.25, 10_000
	r.EffortHours, r.Effort, r.Protocol, r.Absent, r.Licence = 2.5, "2.5 hours by one observer", "watching", absent, CCBY
	r.Amount = "few"
	if absent {
		r.Amount = "none"
	}
	return r
}

func TestAnIndependentReaderTakesTheArchive(t *testing.T) {
	about := About{Title: `Becks & "tarns" <1>`, Abstract: "a", Creator: "b", Licence: CCBY, Written: time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)}
	odd := visit("b1", false)
	odd.Locality, odd.Holder = "Ouse \"Beck\"\t& more,\nnorth", `A, "B" \ C`
	window := New(SourceName)
	window.Key, window.Event, window.Name, window.Rank, window.Basis = "urn:test:w", "w", "Baetis", "genus", "MaterialCitation"
	window.FirstDay, window.LastDay, window.Region, window.References, window.Licence = 350, 60, "uplands", "Someone 1990", CCBY
	title, events, rows, problem := readElsewhere(t, about, []Record{visit("a1", false), visit("a2", true), odd, window})
	if problem != "" {
		t.Fatal(problem)
	}
	if title != about.Title || events != 3 || len(rows) != 4 {
		t.Fatalf("%q, %d events, %d occurrences", title, events, len(rows))
	}
	for i, want := range []map[string]string{
		{"occurrenceID": "urn:test:a1", "eventID": "visit a", "eventDate": "2026-06-03", "samplingEffort": "2.5 hours by one observer", "sampleSizeValue": "2.5", "sampleSizeUnit": "hour", "occurrenceStatus": "present", "organismQuantity": "few", "lifeStage": "subimago", "decimalLatitude": "54.5"},
		{"occurrenceID": "urn:test:a2", "eventID": "visit a", "occurrenceStatus": "absent", "organismQuantity": "none"},
		{"occurrenceID": "urn:test:b1", "waterBody": "Ouse \"Beck\" & more, north", "rightsHolder": `A, "B" \ C`},
		{"occurrenceID": "urn:test:w", "eventDate": "", "startDayOfYear": "350", "endDayOfYear": "60", "higherGeography": "uplands", "associatedReferences": "Someone 1990", "decimalLatitude": "", "geodeticDatum": ""},
	} {
		for term, v := range want {
			if rows[i][term] != v {
				t.Errorf("occurrence %d: %s is %q, want %q", i, term, rows[i][term], v)
			}
		}
	}
	// The reader must be able to refuse.
	twice := []Record{visit("a1", false), visit("a1", false)}
	if _, _, _, problem := readElsewhere(t, about, twice); !strings.Contains(problem, "twice") {
		t.Errorf("the same occurrence twice: %q", problem)
	}
	dateless := visit("c1", false)
	dateless.Start, dateless.End = time.Time{}, time.Time{}
	if _, _, _, problem := readElsewhere(t, about, []Record{dateless}); !strings.Contains(problem, "without a date") {
		t.Errorf("no date: %q", problem)
	}
}
