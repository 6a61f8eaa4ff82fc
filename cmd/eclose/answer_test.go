package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// What a fresh user does with the demo, command by command: the answer comes first, it is
// short, and what cannot be answered says what cures it.
func TestTheAnswerComesFirst(t *testing.T) {
	t.Parallel()
	made, err := demoOnce()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(made.dir)); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Files in " + made.dir, "forecast.txt", "To see the web pages", "Wend today: keep out of the water."} {
		if !strings.Contains(made.printed, want) {
			t.Errorf("the demo does not say %q", want)
		}
	}
	path := filepath.Join(dir, "eclose.toml")
	run := func(args ...string) string {
		t.Helper()
		code, out, errs := call(t, demo.Issue, append(args, "--config", path)...)
		if code != 0 {
			t.Fatalf("%v: exit %d: %s", args, code, errs)
		}
		for line := range strings.SplitSeq(out, "\n") {
			if n := utf8.RuneCountInString(line); n > 80 {
				t.Errorf("%v: %d columns: %q", args, n, line)
			}
		}
		return out
	}
	all := run("forecast")
	lines := strings.Split(strings.TrimRight(all, "\n"), "\n")
	if len(lines) > 120 {
		t.Errorf("the forecast has %d lines, want at most 120", len(lines))
	}
	five := strings.Join(strings.Fields(strings.Join(lines[:5], " ")), " ")
	for what, pattern := range map[string]string{
		"a river": `Wend|Garrow|Little Ash`, "days": `(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d+`, "an insect with what it does": `[a-z]+ (hatch|laying eggs),`,
		"hours": `\d\d:\d\d-\d\d:\d\d`, "a fly with its sizes": `(spinner|emerger|pupa|dry \w+|nymph|soft hackle), \d+`, "a chance beside the calendar's": `\d+% \(calendar \d+%\)`,
	} {
		if !regexp.MustCompile(pattern).MatchString(five) {
			t.Errorf("the first five lines do not name %s:\n%s", what, five)
		}
	}
	// A caution stands for each river, and none of these invites: all are at least 2.
	if n := strings.Count(all, "Caution "); n < 3 {
		t.Errorf("%d cautions for three rivers", n)
	}
	if strings.Contains(all, "Go to ") || strings.Contains(all, "\nGo ") {
		t.Error("an invitation, though today's caution is at least 2 everywhere")
	}
	for block := range strings.SplitSeq(all, "\n\n") {
		if n := strings.Count(block, "\n") + 1; n > 40 {
			t.Errorf("a river takes %d lines", n)
		}
	}
	if strings.Contains(five, "idge") {
		t.Errorf("a midge leads:\n%s", five)
	}
	if one := run("forecast", "garrow"); !strings.HasPrefix(strings.TrimSpace(one), "GARROW") || strings.Contains(one, "WEND") {
		t.Errorf("forecast garrow:\n%s", one)
	}
	if d := run("forecast", "--details", "garrow"); !strings.Contains(d, "Degree-days above") {
		t.Error("--details lacks the details")
	}

	plan := run("trip", "--from", "2026-06-13", "--to", "2026-07-10", "--days", "4")
	for _, want := range []string{"Best: ", "A week earlier: ", "Second   ", "Costs    ", "Gains    ", "Week by week", "in box", "Dry hook"} {
		if !strings.Contains(plan, want) {
			t.Errorf("the trip lacks %q:\n%s", want, plan)
		}
	}
	if strings.Contains(plan, ">99%") {
		t.Error("a chance that ranks nothing")
	}
	fly := regexp.MustCompile(`(?m)^\[ \] (.*?) (\d+)`).FindStringSubmatch(plan)
	if fly == nil {
		t.Fatalf("no fly to tie:\n%s", plan)
	}
	run("box", "add", fly[1], "--size", fly[2], "--count", "30")
	if held := run("trip", "--from", "2026-06-13", "--to", "2026-07-10", "--days", "4"); held == plan || !strings.Contains(run("box"), fly[1]) {
		t.Errorf("the box holds %s, and the tying list does not know", fly[1])
	}
	if b, err := os.ReadFile(filepath.Join(dir, "box.csv")); err != nil || !strings.HasPrefix(string(b), "fly,size,count\n") {
		t.Errorf("the box on disk: %s %v", b, err)
	}

	// Half a year later without new data: the newest reading and the flag that cures it.
	later := demo.Issue.AddDate(0, 6, 0)
	code, _, errs := call(t, later, "trip", "--from", "2026-06-13", "--to", "2026-07-10", "--config", path)
	if code != 2 || !strings.Contains(errs, "the newest reading is of 2026-05-18: add --issue-date 2026-05-18") {
		t.Errorf("stale data: %d %s", code, errs)
	}
	code, _, errs = call(t, demo.Issue, "trip", "--from", "2026-06-13", "--to", "2026-07-10", "--group", "danica-mayfly", "--config", path)
	if code != 2 || !strings.Contains(errs, "--group danica-mayfly: not forecast on Wend, Garrow, Little Ash") {
		t.Errorf("a group of another region: %d %s", code, errs)
	}
	// The diary takes the label that the forecast prints.
	var out string
	code, out, errs = call(t, demo.Issue, "diary", "add", "--date", "2026-05-17", "--river", "garrow", "--group", "little black saddle case", "--stage", "emergence", "--amount", "many", "--hours", "2", "--config", path)
	if code != 0 || !strings.Contains(out, "little-black-saddle-case") {
		t.Errorf("diary: %d %s%s", code, out, errs)
	}
}
