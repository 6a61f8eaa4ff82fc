package main

import (
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

// served runs eclose serve on the demo until its first outlooks are issued.
func served(t *testing.T, years string) (dir, path string, stop func() int) {
	t.Helper()
	feeds := httptest.NewServer(demo.NewWorld().Handler())
	t.Cleanup(feeds.Close)
	dir, path = write(t, strings.Replace(demo.Config(feeds.URL), "backfill-years = 9", "backfill-years = "+years, 1))
	url, log, stop := serve(t, from(demo.Issue), "--config", path)
	for end := time.Now().Add(60 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		n := 0
		_, r := report(t, url)
		for _, x := range r.Rivers {
			if !x.Issued.IsZero() {
				n++
			}
		}
		if n == 3 {
			return dir, path, stop
		}
		if time.Now().After(end) {
			t.Fatalf("no outlook within a minute\n%s", log)
		}
	}
}

func TestABackupOfARunningHouseRestoresAsItWas(t *testing.T) {
	dir, path, stop := served(t, "2")
	file := filepath.Join(t.TempDir(), "b.backup")
	if code, out, errs := call(t, demo.Issue, "backup", "--config", path, "--out", file); code != 0 || !strings.Contains(out, "files") {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	if code := stop(); code != 0 {
		t.Fatal(code)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Run("the database moves with its jobs", func(t *testing.T) { moves(t, path) })
	dir2, path2 := write(t, string(text))
	if code, out, errs := call(t, demo.Issue, "restore", "--config", path2, file); code != 0 {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	if digest(t, dir) != digest(t, dir2) {
		t.Error("the series differ")
	}
	for _, d := range []string{dir, dir2} {
		x := dbtest.Open(t, filepath.Join(d, "eclose.db"))
		o, err := db.Outlooks(t.Context(), x.SQL, "wend", time.Time{}.AddDate(1970, 0, 0), demo.Issue.AddDate(1, 0, 0))
		if err != nil || len(o) != 1 {
			t.Errorf("%s: %v, %v", d, o, err)
		}
		for _, x := range o {
			if _, err := os.Stat(filepath.Join(d, "series", x.Artefact)); err != nil {
				t.Error(err)
			}
		}
	}
	if code, _, errs := call(t, demo.Issue, "restore", "--config", path2, file); code != 2 || !strings.Contains(errs, "empty place") {
		t.Errorf("over what is there: %d %s", code, errs)
	}
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string][]byte{
		"cut off": whole[:len(whole)/2], "cut off at the end": whole[:len(whole)-20], "no backup": []byte("hello"), "empty": nil,
		"a bit flipped": func() []byte { b := append([]byte(nil), whole...); b[len(b)/3] ^= 4; return b }(),
	} {
		t.Run(name, func(t *testing.T) {
			f := filepath.Join(t.TempDir(), "bad.backup")
			if err := os.WriteFile(f, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			dir3, path3 := write(t, string(text))
			if code, _, errs := call(t, demo.Issue, "restore", "--config", path3, f); code != 1 || !strings.Contains(errs, "nothing was changed") {
				t.Errorf("%d %s", code, errs)
			}
			if left, _ := os.ReadDir(dir3); len(left) != 1 {
				t.Errorf("left behind: %v", left)
			}
		})
	}
}

func moves(t *testing.T, path string) {
	to := dbtest.PostgresURL(t)
	if code, _, errs := call(t, demo.Issue, "jobs", "add", "outlooks", "--config", path, "--issue", "2026-05-01T12:00:00Z"); code != 0 {
		t.Fatal(errs)
	}
	code, out, errs := call(t, demo.Issue, "database", "move", "--config", path, "--to", to)
	if code != 0 || !strings.Contains(out, "outlook               3 rows") {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	d := dbtest.Open(t, to)
	var n int
	if err := d.SQL.QueryRow("SELECT COUNT(*) FROM river_job WHERE kind = 'outlook' AND state IN ('available', 'scheduled')").Scan(&n); err != nil || n != 3 {
		t.Errorf("%d jobs came along, %v", n, err)
	}
	if code, _, errs := call(t, demo.Issue, "database", "move", "--config", path, "--to", to); code != 1 || !strings.Contains(errs, "nothing was changed") {
		t.Errorf("a second time: %d %s", code, errs)
	}
	if code, _, _ := call(t, demo.Issue, "database", "move", "--config", path, "--to", "other.db"); code != 2 {
		t.Errorf("to another file: %d", code)
	}
}
