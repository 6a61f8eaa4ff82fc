package main

import (
	"encoding/json"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/forecast"
)

// peakOf is where the forecast of the Wend puts the peak of a group's
// emergence, and the grade it gives to the numbers.
func peakOf(t *testing.T, now time.Time, path, group string, more ...string) (forecast.Date, forecast.EvidenceCode) {
	t.Helper()
	code, out, errs := call(t, now, append([]string{"forecast", "--config", path, "--river", "wend", "--members", "40", "--format", "json"}, more...)...)
	if code != 0 {
		t.Fatal(errs)
	}
	var outlooks []forecast.Outlook
	if err := json.Unmarshal([]byte(out), &outlooks); err != nil {
		t.Fatal(err)
	}
	for _, s := range outlooks[0].Stages {
		if s.Group == group && s.Stage == forecast.Emergence {
			return s.Window.Peak.P50, s.Grade
		}
	}
	t.Fatalf("the outlook lacks %s", group)
	return 0, ""
}

// A user writes down two early seasons of drakes on the Wend, lets the river
// learn of them, and asks again.
func TestADiaryMovesTheForecast(t *testing.T) {
	t.Parallel()
	_, path := wend(t)
	now := demo.Issue.Add(time.Hour)
	const drake = "western-green-drake"

	code, _, errs := call(t, now, "calibrate", "wend", "--config", path)
	if code != 1 || !strings.Contains(errs, "no sightings recorded for Wend") || !strings.Contains(errs, "eclose diary add --river wend") {
		t.Errorf("an empty diary: exit %d, %s", code, errs)
	}
	before, grade := peakOf(t, now, path, drake)
	if grade != "prior" {
		t.Errorf("grade %q before anything was seen", grade)
	}
	other, _ := peakOf(t, now, path, "pale-morning-dun")
	for day, amount := range map[string]string{
		"2024-06-05": "few", "2024-06-12": "many", "2024-06-15": "many", "2024-06-28": "none", "2024-07-02": "none",
		"2025-06-04": "few", "2025-06-11": "many", "2025-06-14": "many", "2025-06-27": "none", "2025-07-03": "none",
	} {
		if code, _, errs := call(t, now, "diary", "add", "--config", path, "--date", day, "--river", "Wend", "--group", drake, "--stage", "emergence", "--amount", amount, "--hours", "2"); code != 0 {
			t.Fatal(errs)
		}
	}
	code, out, errs := call(t, now, "calibrate", "wend", "--config", path)
	if code != 0 {
		t.Fatal(errs)
	}
	for _, want := range []string{"western green drake", "10 times", "days earlier"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing from:\n%s", want, out)
		}
	}
	for line := range strings.SplitSeq(out, "\n") {
		if n := utf8.RuneCountInString(line); n > 90 {
			t.Errorf("%d columns: %q", n, line)
		}
	}
	later := now.Add(time.Hour)
	after, grade := peakOf(t, later, path, drake)
	if after > before-5 || grade != "sightings:2" {
		t.Errorf("the peak went from %s to %s, grade %q", before, after, grade)
	}
	// Two early seasons of one insect make the others a little earlier, too.
	if same, _ := peakOf(t, later, path, "pale-morning-dun"); same > other || same < other-5 {
		t.Errorf("a group that nobody watched for went from %s to %s", other, same)
	}
	// An outlook as of a day before the diary was written does not know it.
	if past, grade := peakOf(t, later, path, drake, "--issue-date", "2026-05-17"); past < before-2 || grade != "prior" {
		t.Errorf("issued for the day before: %s, grade %q", past, grade)
	}
}

func TestCalibrateSaysWhatItCannotLearnFrom(t *testing.T) {
	_, path := write(t, oneGauge("http://127.0.0.1:1"))
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		args []string
		code int
		want string
	}{
		{"a river that is none", []string{"Styx", "--config", path}, 2, `no river "Styx"`},
		{"nothing seen yet", []string{"beck", "--config", path}, 1, "no sighting"},
		{"no config", []string{"beck"}, 2, "--config"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, out, errs := call(t, now, append([]string{"calibrate"}, c.args...)...)
			if code != c.code || !strings.Contains(out+errs, c.want) {
				t.Errorf("exit %d: %s%s", code, out, errs)
			}
		})
	}
}
