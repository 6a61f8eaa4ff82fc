package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// readers run the blocks that are programs of other languages, and return what they
// print.
var readers = map[string]func(*follower, block) string{
	"python": func(f *follower, b block) string {
		return f.program(b, "pandas is missing", []string{"/usr/bin/python3", "-c", "import pandas"}, "/usr/bin/python3", "FILE")
	},
	"r": func(f *follower, b block) string {
		return f.program(b, "R is missing", []string{"Rscript", "--version"}, "Rscript", "FILE")
	},
	"sql": func(f *follower, b block) string {
		modules := os.Getenv("ECLOSE_NODE")
		script, err := filepath.Abs(filepath.Join("testdata", "duckdb.mjs"))
		if err != nil {
			f.t.Fatal(err)
		}
		return f.program(b, "DuckDB is missing: ECLOSE_NODE names no folder that .ci/others made", []string{"test", "-d", filepath.Join(modules, "node_modules", "@duckdb")}, "node", script, modules, "FILE")
	},
	"html": (*follower).browse,
}

// browse opens a block as a page of another site, and returns what stands on it.
func (f *follower) browse(b block) string {
	f.t.Helper()
	page := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w, "<!DOCTYPE html><link rel=icon href=data:,><meta charset=utf-8><body>"+f.here(b.text))
	}))
	defer page.Close()
	r := openReader(f.t, page.URL)
	r.open(f.t, "/")
	for end := time.Now().Add(patience); ; time.Sleep(100 * time.Millisecond) {
		text := r.text(f.t, "body")
		r.mu.Lock()
		troubles := slices.Clone(r.troubles)
		r.mu.Unlock()
		switch {
		case len(troubles) > 0:
			f.t.Fatalf("%s:%d: the browser complains: %s", f.d.path, b.line, troubles)
		case strings.TrimSpace(text) != "":
			return text
		case time.Now().After(end):
			f.t.Fatalf("%s:%d: the page stays empty", f.d.path, b.line)
		}
	}
}

// program runs a block by a command in which FILE stands for it, if the probe works. In
// CI it must.
func (f *follower) program(b block, missing string, probe []string, command ...string) string {
	f.t.Helper()
	if err := exec.CommandContext(context.Background(), probe[0], probe[1:]...).Run(); err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			f.t.Fatalf("%s:%d: %s: %v", f.d.path, b.line, missing, err)
		}
		f.t.Skipf("%s:%d and what follows is not run: %s", f.d.path, b.line, missing)
	}
	path := filepath.Join(f.t.TempDir(), "program")
	if err := os.WriteFile(path, []byte(f.here(b.text)), 0o600); err != nil {
		f.t.Fatal(err)
	}
	for i := range command {
		command[i] = strings.ReplaceAll(command[i], "FILE", path)
	}
	cmd := exec.CommandContext(f.t.Context(), command[0], command[1:]...) //nolint:gosec // it is what the document says
	cmd.Dir, cmd.Env = f.cwd, f.env
	out, err := cmd.CombinedOutput()
	if err != nil {
		f.t.Fatalf("%s:%d: %v:\n%s", f.d.path, b.line, err, out)
	}
	f.t.Logf("%s:%d\n%s", f.d.path, b.line, out)
	return string(out)
}
