package main

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/backup"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
)

// served runs eclose serve on the demo until its first outlooks are issued.
func served(t *testing.T) (dir, path string, stop func() int) {
	t.Helper()
	dir, path = ingested(t)
	url, log, stop := serve(t, from(demo.Issue), "--config", path)
	for end := time.Now().Add(4 * time.Minute); ; time.Sleep(100 * time.Millisecond) {
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
			t.Fatalf("no outlook within four minutes\n%s", log)
		}
	}
}

func TestABackupOfARunningHouseRestoresAsItWas(t *testing.T) {
	t.Parallel()
	dir, path, stop := served(t)
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
	t.Run("every row and file", func(t *testing.T) { restoresAll(t, dir, path, string(text)) })
	t.Run("the database moves with its jobs", func(t *testing.T) { moves(t, dir, path) })
	dir2, path2 := write(t, string(text))
	if code, out, errs := call(t, demo.Issue, "restore", "--new-key", "--config", path2, file); code != 0 {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	if digest(t, dir) != digest(t, dir2) {
		t.Error("the series differ")
	}
	for _, d := range []string{dir, dir2} { // the first has got some more since
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
	if code, _, errs := call(t, demo.Issue, "restore", "--new-key", "--config", path2, file); code != 2 || !strings.Contains(errs, "empty installation") {
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
			if code, _, errs := call(t, demo.Issue, "restore", "--new-key", "--config", path3, f); code != 1 || !strings.Contains(errs, "nothing was changed") {
				t.Errorf("%d %s", code, errs)
			}
			if left, _ := os.ReadDir(dir3); len(left) != 1 {
				t.Errorf("left behind: %v", left)
			}
		})
	}
}

// occupy gives each of our tables that is empty a row and each folder a file, and
// begins a backtest, whose seasons wait as jobs.
func occupy(t *testing.T, dir, path string) *db.DB {
	t.Helper()
	if code, _, errs := call(t, demo.Issue, "jobs", "add", "backtest", "--config", path, "--run", "spring", "--seasons", "2024..2025", "--every", "60"); code != 0 {
		t.Fatal(errs)
	}
	d := dbtest.Open(t, filepath.Join(dir, "eclose.db"))
	for _, table := range tables {
		if len(rowsOf(t, d, "SELECT * FROM "+table)) > 0 {
			continue
		}
		var names, values []string
		for _, c := range rowsOf(t, d, "SELECT name, type FROM pragma_table_info('"+table+"')") {
			name, kind, _ := strings.Cut(c, "\x00")
			names = append(names, name)
			values = append(values, map[string]string{"TEXT": "'ü, \"x\"'", "INTEGER": "9007199254740993", "REAL": "0.1"}[kind])
		}
		if _, err := d.SQL.Exec("INSERT INTO " + table + " (" + strings.Join(names, ", ") + ") VALUES (" + strings.Join(values, ", ") + ")"); err != nil {
			t.Fatal(table, err)
		}
	}
	files, err := series.OpenFiles(t.Context(), filepath.Join(dir, "series"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range backup.KeptFolders {
		if err := files.Write(t.Context(), f+"/deep/er/"+f+".json", []byte(f)); err != nil {
			t.Fatal(err)
		}
	}
	return d
}

// tables are ours, each after those it refers to.
var tables = []string{"sighting", "calibration", "outlook", "artefact", "feed_state", "never", "person", "subscription", "token", "signup",
	"river_state", "news", "episode", "outbox", "send_log", "bounce"}

// rowsOf are the rows of a query in order, each its values with NUL between.
func rowsOf(t *testing.T, d *db.DB, query string) (out []string) {
	t.Helper()
	rows, err := d.SQL.Query(query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	for rows.Next() {
		values := make([]any, len(columns))
		for i := range values {
			values[i] = new(any)
		}
		if err := rows.Scan(values...); err != nil {
			t.Fatal(err)
		}
		text := make([]string, len(columns))
		for i, v := range values {
			if text[i] = fmt.Sprint(*v.(*any)); *v.(*any) == nil {
				text[i] = "NULL"
			}
		}
		out = append(out, strings.Join(text, "\x00"))
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	slices.Sort(out)
	return out
}

// restoresAll restores what holds something of everything there is, and looks at
// each row of each table, River's too, and each byte of each file.
func restoresAll(t *testing.T, dir, path, text string) {
	a := occupy(t, dir, path)
	file := filepath.Join(t.TempDir(), "all.backup")
	if code, _, errs := call(t, demo.Issue, "backup", "--config", path, "--out", file); code != 0 {
		t.Fatal(errs)
	}
	dir2, path2 := write(t, text)
	if code, _, errs := call(t, demo.Issue, "restore", "--new-key", "--config", path2, file); code != 0 {
		t.Fatal(errs)
	}
	b := dbtest.Open(t, filepath.Join(dir2, "eclose.db"))
	all := rowsOf(t, a, "SELECT name FROM sqlite_master WHERE type = 'table'")
	for _, table := range tables {
		if !slices.Contains(all, table) {
			t.Errorf("there is no table %s", table)
		}
	}
	for _, table := range append(all, "river_job") {
		x, y := rowsOf(t, a, "SELECT * FROM "+table), rowsOf(t, b, "SELECT * FROM "+table)
		if !slices.Equal(x, y) {
			t.Errorf("%s: %d rows, restored %d, and they differ", table, len(x), len(y))
		}
		if len(x) == 0 && (slices.Contains(tables, table) || table == "river_job") {
			t.Errorf("%s is empty: the test shows nothing of it", table)
		}
	}
	x, y := filesUnder(t, filepath.Join(dir, "series")), filesUnder(t, filepath.Join(dir2, "series"))
	// The probe of the health is written anew wherever serve runs.
	maps.DeleteFunc(x, func(name, _ string) bool { return strings.HasPrefix(name, "health/") })
	if !maps.Equal(x, y) {
		t.Errorf("%d files, restored %d, and they differ", len(x), len(y))
	}
	for _, f := range append([]string{"backtests/spring/plan.json"}, backup.KeptFolders...) {
		if !slices.ContainsFunc(slices.Collect(maps.Keys(y)), func(name string) bool { return strings.HasPrefix(name, f) }) {
			t.Errorf("none of the restored files is %s", f)
		}
	}
}

// filesUnder are the files of a store and their bytes; locks and the like, which
// begin with a dot, are none.
func filesUnder(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || strings.HasPrefix(e.Name(), ".") {
			return err
		}
		text, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		out[name] = string(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func moves(t *testing.T, dir, path string) {
	to := dbtest.PostgresURL(t)
	if code, _, errs := call(t, demo.Issue, "jobs", "add", "forecasts", "--config", path, "--issue", "2026-05-01T12:00:00Z"); code != 0 {
		t.Fatal(errs)
	}
	code, out, errs := call(t, demo.Issue, "database", "move", "--config", path, "--to", to)
	if code != 0 || !strings.Contains(out, "outlook               3 rows") {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	if code, _, errs := call(t, demo.Issue, "database", "move", "--config", path, "--to", to); code != 1 || !strings.Contains(errs, "nothing was changed") {
		t.Errorf("a second time: %d %s", code, errs)
	}
	if code, _, _ := call(t, demo.Issue, "database", "move", "--config", path, "--to", "other.db"); code != 2 {
		t.Errorf("to another file: %d", code)
	}
	d, from := dbtest.Open(t, to), dbtest.Open(t, filepath.Join(dir, "eclose.db"))
	if x, y := waiting(t, from), waiting(t, d); !slices.Equal(x, y) || len(x) < 9 { // the outlooks of three rivers, two seasons of each
		t.Errorf("%q waited, %q came along", x, y)
	}
	for _, table := range tables {
		if x, y := rowsOf(t, from, "SELECT * FROM "+table), rowsOf(t, d, "SELECT * FROM "+table); !slices.Equal(x, y) || len(x) == 0 {
			t.Errorf("%s: %d rows, moved %d, or they differ", table, len(x), len(y))
		}
	}
}

// waiting are the kinds and keys of the jobs that are not finished.
func waiting(t *testing.T, d *db.DB) (out []string) {
	t.Helper()
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	all, err := q.List(t.Context(), jobs.Filter{States: []string{"available", "pending", "running", "retryable", "scheduled"}, Most: 10_000})
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range all {
		var keys map[string]any
		if err := json.Unmarshal([]byte(j.Keys), &keys); err != nil {
			t.Fatal(err)
		}
		out = append(out, fmt.Sprint(j.Kind, keys)) // the keys in order
	}
	slices.Sort(out)
	return out
}
