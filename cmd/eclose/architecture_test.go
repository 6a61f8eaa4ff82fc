package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "example.org/eclose"

type listed struct {
	ImportPath string
	Imports    []string
	Dir        string
	GoFiles    []string
	Doc        string
}

func packages(t *testing.T) []listed { return listPackages(t, module+"/...") }

func listPackages(t *testing.T, which ...string) []listed {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "go", append([]string{"list", "-json=ImportPath,Imports,Dir,GoFiles,Doc"}, which...)...).Output()
	if err != nil {
		t.Fatalf("listing the packages: %v", err)
	}
	var all []listed
	d := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatalf("reading the list of packages: %v", err)
		}
		all = append(all, p)
	}
}

// Imports run one way: a later part may import an earlier one, never the
// reverse, and model imports nothing of Eclose but itself.
func TestImportsRunOneWay(t *testing.T) {
	may := map[string][]string{
		"ingest":   {"ingest"},
		"model":    {"model"},
		"forecast": {"ingest", "model", "forecast"},
		"notify":   {"ingest", "model", "forecast", "notify"},
		"cmd":      {"ingest", "model", "forecast", "notify", "cmd"},
	}
	impure := map[string]bool{"net": true, "net/http": true, "os": true, "os/exec": true, "log": true, "log/slog": true, "database/sql": true, "path/filepath": true}
	for _, p := range packages(t) {
		room, _, _ := strings.Cut(strings.TrimPrefix(p.ImportPath, module+"/"), "/")
		allowed, known := may[room]
		if !known {
			t.Errorf("%s stands outside the fixed folders", p.ImportPath)
			continue
		}
		for _, i := range p.Imports {
			if room == "model" && impure[i] {
				t.Errorf("%s imports %s, but model takes numbers and gives numbers", p.ImportPath, i)
			}
			if strings.Contains(i, "apache/arrow") && !strings.HasSuffix(p.ImportPath, "ingest/series") && !strings.HasSuffix(p.ImportPath, "forecast/export") {
				t.Errorf("%s imports %s: Arrow stays where columns are written", p.ImportPath, i)
			}
			if strings.Contains(i, "/pqarrow") {
				t.Errorf("%s imports pqarrow, which crashes the process on a damaged file", p.ImportPath)
			}
			rest, ours := strings.CutPrefix(i, module+"/")
			if !ours {
				continue
			}
			to, _, _ := strings.Cut(rest, "/")
			ok := false
			for _, a := range allowed {
				ok = ok || a == to
			}
			if !ok {
				t.Errorf("%s imports %s: against the one way", p.ImportPath, i)
			}
		}
	}
}

func TestEveryPackageSaysWhatItIs(t *testing.T) {
	for _, p := range packages(t) {
		if strings.Contains(p.ImportPath, "/internal/sqlc") || len(p.GoFiles) == 0 {
			continue // generated
		}
		if words := strings.Join(strings.Fields(p.Doc), " "); words == "" {
			t.Errorf("%s has no package comment", p.ImportPath)
		}
		text := ""
		for _, f := range p.GoFiles {
			b, err := os.ReadFile(filepath.Join(p.Dir, f))
			if err != nil {
				t.Fatal(err)
			}
			if head, _, ok := strings.Cut(string(b), "\npackage "); ok && strings.HasPrefix(head, "// ") {
				text += strings.Join(strings.Fields(strings.ReplaceAll(head, "//", "")), " ")
			}
		}
		for what, words := range map[string][]string{"what enters": {"enter"}, "what leaves": {"leave"}, "what it must not know": {"must not", "knows no"}} {
			if !slices.ContainsFunc(words, func(w string) bool { return strings.Contains(text, w) }) {
				t.Errorf("the comment of %s does not say %s", p.ImportPath, what)
			}
		}
	}
}

func TestTheTopOfTheHouseIsFixed(t *testing.T) {
	root := filepath.Join("..", "..")
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	known := " cmd ingest model forecast notify testdata README.md DEVELOPERS.md CHANGELOG.md LICENSE Makefile go.mod go.sum "
	for _, e := range entries {
		out := exec.CommandContext(t.Context(), "git", "check-ignore", "-q", e.Name())
		out.Dir = root
		if strings.HasPrefix(e.Name(), ".") || strings.Contains(known, " "+e.Name()+" ") || out.Run() == nil {
			continue
		}
		t.Errorf("%s stands outside the fixed top-level names", e.Name())
	}
}

// The map for newcomers names every room, by its path or beside its siblings.
func TestTheMapNamesEveryPackage(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "..", "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range packages(t) {
		path := strings.TrimPrefix(p.ImportPath, module+"/")
		if strings.HasSuffix(path, "/internal/sqlc") {
			continue // generated
		}
		if !strings.Contains(string(b), "`"+path+"`") && !strings.Contains(string(b), "`"+filepath.Base(path)+"`") {
			t.Errorf("the table of packages in DEVELOPERS.md lacks %s", path)
		}
	}
}

// A command that needs more than a screen or two does work that belongs in a
// package of its own.
func TestEachCommandIsASmallFile(t *testing.T) {
	const most = 300 // lines; our own
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(string(b), "\n"); n > most && !strings.HasSuffix(f, "_test.go") {
			t.Errorf("%s has %d lines: move its work into a package", f, n)
		}
	}
}
