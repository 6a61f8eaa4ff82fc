package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// Slips of the fingers, each with the words that cure it: the right spelling, the form to
// write, or the command to run. None may end in a success, a panic or a riddle.
func TestTypingMistakesAreAnsweredWithTheirCure(t *testing.T) {
	dir, path := write(t, demo.Config("http://127.0.0.1:1"))
	file := func(name, text string) string {
		t.Helper()
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	config := func(name, old, with string) string {
		text := demo.Config("http://127.0.0.1:1")
		if !strings.Contains(text, old) {
			t.Fatalf("the config lacks %q", old)
		}
		return file(name, strings.Replace(text, old, with, 1))
	}
	add := []string{"diary", "add", "--config", path, "--river", "wend", "--group", "salmonfly", "--stage", "emergence", "--amount", "few", "--hours", "2"}
	with := func(flag, value string) []string {
		out := append([]string{}, add...)
		for i, a := range out {
			if a == flag {
				out[i+1] = value
				return out
			}
		}
		return append(out, flag, value)
	}
	people := func(name, text string) []string {
		return []string{"subscribe", "import", file(name, text), "--consent", "w", "--config", path}
	}
	for _, x := range []struct {
		args []string
		want string
	}{
		{[]string{"forcast", "--config", path}, `did you mean "forecast"?`},
		{[]string{"forecast", "--confg", path}, `did you mean "--config"?`},
		{[]string{"forecast"}, "--config=FILE; eclose init writes"},
		{[]string{"forecast", "--config", filepath.Join(dir, "no.toml")}, "no.toml: no such file; check the path, or write one with eclose init"},
		{[]string{"forecast", "--config", path, "garow"}, "did you mean garrow?"},
		{[]string{"forecast", "--config", path, "--issue-date", "2026-02-30"}, "February 2026 has 28 days"},
		{[]string{"forecast", "--config", path, "--issue-date", "18 May"}, "such as 2026-06-30"},
		{[]string{"forecast", "--config", path, "--issue-date", "2026-13-01"}, "there is no month 13"},
		{[]string{"forecast", "--config", path, "--issue-date", "2036-01-01"}, "use today or earlier"},
		{[]string{"forecast", "--config", path, "--format", "tabel"}, `must be one of "text"`},
		{[]string{"forecast", "--config", path, "--members", "1"}, "use 10 to 5000"},
		{[]string{"forecast", "--config", path}, "run eclose ingest first"},
		{[]string{"trip", "--config", path, "--from", "2026-06-31", "--to", "2026-07-10"}, "June 2026 has 30 days"},
		{[]string{"trip", "--config", path, "--from", "2026-07-10", "--to", "2026-06-30"}, "is before the first day"},
		{[]string{"trip", "--config", path, "--from", "2026-06-01", "--to", "2026-06-03", "--days", "9"}, "does not fit between"},
		{[]string{"trip", "--config", path, "--from", "2026-06-01", "--to", "2026-06-30", "--days", "0"}, "use 1 to 30"},
		{[]string{"trip", "--config", path, "--from", "2026-06-01"}, "--to=YYYY-MM-DD"},
		{[]string{"trip", "--config", path, "--from", "2026-06-01", "--to", "2026-06-30", "--group", "zzzzqqq"}, "eclose group find lists them"},
		{with("--river", "wnd"), "did you mean wend?"},
		{with("--group", "salmonfy"), "did you mean salmonfly"},
		{with("--date", "2026-02-30"), "February 2026 has 28 days"},
		{with("--date", "yesterday"), "such as 2026-06-30"},
		{with("--date", "2027-06-30"), "write the day on which you watched"},
		{with("--stage", "hatch"), `must be one of "emergence","egg-laying"`},
		{with("--amount", "lots"), `must be one of "none","few","many"`},
		{with("--hours", "two"), `--hours: "two" is not a number`},
		{with("--hours", "30"), "use more than 0 and at most 24"},
		{with("--water", "52"), "write 11.5C or 52F"},
		{[]string{"subscribe", "add", "ann@example.org", "--river", "wend", "--config", path}, "add [mail] to "},
		{[]string{"subscribe", "add", "ann@example.org", "--river", "wned", "--consent", "w", "--config", path}, "did you mean wend?"},
		{[]string{"subscribe", "add", "ann@example.org", "--river", "wend", "--consent", "w", "--quiet-hours", "10pm", "--config", path}, "write as 22:00-07:00, or none"},
		{[]string{"subscribe", "add", "ann@example.org", "--river", "wend", "--consent", "w", "--zone", "Denver", "--config", path}, "write area/city, such as Europe/London"},
		{people("a.csv", "mail,river\na@example.org,wend\n"), "use address,river"},
		{people("b.csv", "address,river,quiet\na@example.org,wend,late\n"), "write 22:00-07:00"},
		{[]string{"box", "add", "olive spinner", "--size", "99", "--config", path}, "use 1 to 32"},
		{[]string{"box", "take", "olive spinner", "--size", "16", "--config", path}, "eclose box lists what it holds"},
		{[]string{"group", "find", "zzzzqqq"}, "see 'eclose group list'"},
		{[]string{"group", "find", "hendrickson", "--region", "rokies"}, "use one of"},
		{[]string{"gauges", "find", "--near", "44.7"}, "such as 44.7,-121.2"},
		{[]string{"gauges", "find", "--near", "44.7,-121.2", "--variable", "temperatur"}, "unknown variable"},
		{[]string{"gauges", "find", "--near", "44.7,-121.2", "--agency", "ussg"}, "use one of"},
		{[]string{"caution", "stixx", "--config", path}, "rivers are wend, garrow, little-ash"},
		{[]string{"ingest", "--config", config("units.toml", `units = "us"`, `units = "imperial"`)}, `use "us" or "metric"`},
		{[]string{"ingest", "--config", config("key.toml", "backfill-years", "backfil-years")}, `unknown option "backfil-years" (line 7); did you mean "backfill-years"?`},
		{[]string{"subscribe", "add", "ann@example", "--river", "wend", "--consent", "w", "--config", path}, "write as name@example.org"},
		{[]string{"trip", "--config", path, "--from", "2026-06-01", "--to", "2026-06-30", "--days", "a week"}, `--days: "a week" is not a number`},
		{[]string{"ingest", "--config", config("zone.toml", `zone = "America/Los_Angeles"`, `zone = "Pacific"`)}, `such as "America/Denver"`},
		{[]string{"ingest", "--config", config("region.toml", `region = "rockies"`, `region = "nz-south"`)}, "hemisphere"},
		{[]string{"ingest", "--config", config("quote.toml", `units = "us"`, `units = "us`)}, "line 5: the closing quote is missing"},
	} {
		code, _, errs := call(t, demo.Issue, x.args...)
		if code == 0 || !strings.Contains(errs, x.want) {
			t.Errorf("%v: exit %d, want %q in:\n%s", x.args, code, x.want, errs)
		}
	}
}
