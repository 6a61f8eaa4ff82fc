package main

import (
	"go/ast"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// plainer are words that a tired reader stumbles over, and those that no text on water
// may use, each with what to write in its place.
var plainer = map[string]string{
	"of late": "over the last days", "comes nearer": "name the figure", "in the place of": "instead of", "has the say": "decides", "put right": "corrected",
	"not known": "unknown", "there is no such": "unknown, or not found", "the house": "we, or nothing", "somebody": "someone, or you", "whoever": "the operator",
	"wadable": "nothing", "low risk": "nothing", "all good": "nothing", "normal conditions": "nothing", "ok to wade": "nothing", "safe to": "nothing",
}

// Every text that the program can print, every page and every document keeps to
// plain words.
func TestLabelsKeepToPlainWords(t *testing.T) {
	texts := 0
	check := func(where, text string) {
		texts++
		text = strings.ToLower(text)
		for bad, better := range plainer {
			if strings.Contains(text, bad) {
				t.Errorf("%s: %q: instead of %q write: %s", where, text, bad, better)
			}
		}
	}
	fset, files := goFiles(t)
	for _, f := range files {
		ast.Inspect(f.file, func(n ast.Node) bool {
			if x, ok := n.(*ast.BasicLit); ok && x.Kind == token.STRING {
				if s, err := strconv.Unquote(x.Value); err == nil {
					check(fset.Position(x.Pos()).String(), s)
				}
			}
			return true
		})
	}
	pages := filepath.Join("internal", "page", "templates")
	err := filepath.WalkDir(pages, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		check(path, string(b))
		return err
	})
	for _, d := range documents(t) {
		check(d.path, d.text)
	}
	if err != nil || texts < 3000 {
		t.Errorf("%d texts looked at, %v", texts, err)
	}
}
