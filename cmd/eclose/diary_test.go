package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// eclose runs the program as a user would and returns what it printed.
func eclose(t *testing.T, stdin string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(args, strings.NewReader(stdin), &out, &errs)
	return out.String(), errs.String(), code
}

func TestDiaryFromTheCommandLine(t *testing.T) {
	t.Setenv("ECLOSE_DATABASE", filepath.Join(t.TempDir(), "d.db"))
	steps := []struct {
		name, stdin string
		args        []string
		code        int
		want        string // of stdout, or of stderr where code is not 0
	}{
		{"nothing seen is put down", "", strings.Fields("diary add --date 2026-06-01 --river wend --group bwo --stage emergence --amount none --hours 2 --water 52F"), 0, "none in 2 h"},
		{"a unit is asked for", "", strings.Fields("diary add --date 2026-06-01 --river wend --group bwo --stage emergence --amount none --hours 2 --water 52"), 2, "write 11.5C or 52F"},
		{"hours are asked for", "", strings.Fields("diary add --river wend --group bwo --stage emergence --amount none"), 2, "--hours"},
		{"hours are checked", "", strings.Fields("diary add --river wend --group bwo --stage emergence --amount none --hours 30"), 2, "hours: 30"},
		{"a file is taken in", "date,group,stage,amount,hours\n2026-06-02,bwo,emergence,few,1\n", strings.Fields("diary import - --river wend"), 0, "1 added, 0 revised, 0 unchanged"},
		{"and again", "date,group,stage,amount,hours\n2026-06-02,bwo,emergence,few,1\n", strings.Fields("diary import - --river wend"), 0, "0 added, 0 revised, 1 unchanged"},
		{"a faulty file is refused with its line", "date,group,stage,amount,hours\n2026-06-02,bwo,emergence,few,x\n", strings.Fields("diary import -"), 1, "standard input, line 2: hours"},
		{"the list", "", strings.Fields("diary list --river wend"), 0, "11.1 °C"},
		{"the list as JSON", "", strings.Fields("diary list --from 2026-06-02 --format json"), 0, `"date": "2026-06-02"`},
		{"the export", "", strings.Fields("diary export"), 0, "2026-06-02,wend,bwo,emergence,few,1,"},
		{"a bad date", "", strings.Fields("diary list --from June"), 2, "--from"},
	}
	for _, s := range steps {
		out, errs, code := eclose(t, s.stdin, s.args...)
		text := out
		if s.code != 0 {
			text = errs
		}
		if code != s.code || !strings.Contains(text, s.want) {
			t.Errorf("%s: code %d, want %d; %q is missing from:\n%s%s", s.name, code, s.code, s.want, out, errs)
		}
	}
	file := filepath.Join(t.TempDir(), "out.csv")
	if _, errs, code := eclose(t, "", "diary", "export", "--out", file); code != 0 {
		t.Fatal(errs)
	}
	if b, err := os.ReadFile(file); err != nil || strings.Count(string(b), "\n") != 3 {
		t.Errorf("exported %q, err %v", b, err)
	}
}

// With a config, a river or group that does not exist is refused: what is kept
// under such a name would be forgotten in silence.
func TestDiaryKnowsTheRiversOfAConfig(t *testing.T) {
	_, path := write(t, demo.Config("http://127.0.0.1:9"))
	add := func(river, group string) []string {
		return []string{"diary", "add", "--config", path, "--date", "2026-06-01", "--river", river, "--group", group, "--stage", "emergence", "--amount", "few", "--hours", "2"}
	}
	if out, errs, code := eclose(t, "", add("Wend", "western-march-brown")...); code != 0 || !strings.Contains(out, "on wend") {
		t.Errorf("a river by its full name: code %d, %s%s", code, out, errs)
	}
	if _, errs, code := eclose(t, "", add("wnd", "western-march-brown")...); code != 2 || !strings.Contains(errs, `no river "wnd"`) {
		t.Errorf("an unknown river: code %d, %s", code, errs)
	}
	if _, errs, code := eclose(t, "", add("wend", "march-borwn")...); code != 2 || !strings.Contains(errs, `unknown insect group "march-borwn"`) {
		t.Errorf("an unknown group: code %d, %s", code, errs)
	}
	file := "date,river,group,stage,amount,hours\n2026-06-02,wend,western-march-brown,emergence,few,1\n2026-06-03,wnd,western-march-brown,emergence,few,1\n"
	if _, errs, code := eclose(t, file, "diary", "import", "--config", path, "-"); code != 2 || !strings.Contains(errs, "sighting 2 of -, 2026-06-03") {
		t.Errorf("a file with an unknown river: code %d, %s", code, errs)
	}
	if out, _, _ := eclose(t, "", "diary", "list", "--config", path, "--format", "json"); strings.Count(out, `"date"`) != 1 {
		t.Errorf("the diary holds more than the one good sighting: %s", out)
	}
	if _, errs, code := eclose(t, "", "diary", "list"); code != 2 || !strings.Contains(errs, "--config") {
		t.Errorf("no database named: code %d, %s", code, errs)
	}
}
