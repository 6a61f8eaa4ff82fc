package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// goFile is one Go file of the program: no test, nothing generated.
type goFile struct {
	path  string // from the root, with slashes
	file  *ast.File
	lines int
}

func goFiles(t *testing.T) (*token.FileSet, []goFile) {
	t.Helper()
	root := filepath.Join("..", "..")
	files := token.NewFileSet()
	var out []goFile
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != root:
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		f, err := parser.ParseFile(files, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		if ast.IsGenerated(f) {
			return nil
		}
		name, err := filepath.Rel(root, path)
		out = append(out, goFile{filepath.ToSlash(name), f, files.File(f.Pos()).LineCount()})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) < 100 {
		t.Fatalf("only %d files found: the rules below would hold for nothing", len(out))
	}
	return files, out
}

// sharedNames are the names that two exported types may share, and why. One
// noun stands for one thing, so a name here wants a good reason.
var sharedNames = map[string]string{
	"Config": "the standard library's habit: each package that is set up names its settings so",
	"Parser": "one a feed, all of them ingest.Parser",
	"Source": "one a feed, all of them ingest.Source",
}

func TestOneExportedTypePerName(t *testing.T) {
	_, files := goFiles(t)
	where := map[string][]string{}
	for _, s := range files {
		for _, d := range s.file.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.TYPE {
				continue
			}
			for _, spec := range g.Specs {
				if ts := spec.(*ast.TypeSpec); ts.Name.IsExported() && !ts.Assign.IsValid() { // an alias is the same type
					where[ts.Name.Name] = append(where[ts.Name.Name], s.path)
				}
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(where)) {
		if len(where[name]) > 1 && sharedNames[name] == "" {
			t.Errorf("%d exported types are called %s: %s", len(where[name]), name, strings.Join(where[name], ", "))
		}
	}
	for name := range sharedNames {
		if len(where[name]) < 2 {
			t.Errorf("sharedNames allows %s, which no two types are called", name)
		}
	}
}

// A command is read from top to bottom; what is longer belongs in a package.
const longestCommand = 300

func TestCommandsAreShort(t *testing.T) {
	_, files := goFiles(t)
	commands := 0
	for _, s := range files {
		if s.file.Name.Name != "main" {
			continue
		}
		if commands++; s.lines > longestCommand {
			t.Errorf("%s has %d lines; a file of package main has at most %d", s.path, s.lines, longestCommand)
		}
	}
	if commands == 0 {
		t.Error("no file of package main was found")
	}
}

// A function is seen at once on two screens.
const longestFunction = 80

// longFunctions may be longer, and why.
var longFunctions = map[string]string{}

func TestFunctionsAreShort(t *testing.T) {
	fset, files := goFiles(t)
	long := map[string]bool{}
	for _, s := range files {
		for _, d := range s.file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			n := fset.Position(f.End()).Line - fset.Position(f.Pos()).Line + 1
			if n <= longestFunction {
				continue
			}
			name := s.path + " " + f.Name.Name
			long[name] = true
			if longFunctions[name] == "" {
				t.Errorf("%s has %d lines; a function has at most %d", name, n, longestFunction)
			}
		}
	}
	for name := range longFunctions {
		if !long[name] {
			t.Errorf("longFunctions allows %s, which is not long", name)
		}
	}
}

// Packages outside the program are for tests only, and their names say so.
func TestPackagesOutsideTheProgramAreForTests(t *testing.T) {
	reached := map[string]bool{}
	for _, p := range listPackages(t, "-deps", module+"/cmd/eclose") {
		reached[p.ImportPath] = true
	}
	outside := 0
	for _, p := range packages(t) {
		if reached[p.ImportPath] {
			continue
		}
		outside++
		if name := filepath.Base(p.ImportPath); !strings.HasSuffix(name, "test") && name != "replay" {
			t.Errorf("%s: the program does not import it, and its name does not say that it is for tests", p.ImportPath)
		}
	}
	if outside == 0 {
		t.Error("the program imports every package: this rule matches nothing")
	}
}
