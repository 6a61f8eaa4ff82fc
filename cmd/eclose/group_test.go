package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestGroupCommands(t *testing.T) {
	t.Parallel()
	mine := filepath.Join(t.TempDir(), "mine.csv")
	if err := os.WriteFile(mine, []byte("group,field,region,value,spread,grade,source,note\ntrico,hooks,,22-28,,practice,my own diary\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(t.TempDir(), "bad.csv")
	if err := os.WriteFile(bad, []byte("group,field,region,value,spread,grade,source,note\ntrico,hooks,,big,,practice,my own diary\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		what string
		args []string
		want []string
		code int
	}{
		{"a name of two insects lists both", []string{"find", "green", "drake", "--region", "rockies", "--month", "june"}, []string{"western-green-drake", "eastern-green-drake", "not called this in rockies"}, 0},
		{"a name with no region asks for one", []string{"find", "march brown"}, []string{"western-march-brown", "eastern-march-brown", "march-brown-european", "--region"}, 0},
		{"a place in place of a region", []string{"find", "BWO", "--near", "51.1,-1.5"}, []string{"ignita-olive"}, 0},
		{"a misspelt name says so", []string{"find", "hendriksen"}, []string{"hendrickson", "spelling guessed"}, 0},
		{"an unknown name", []string{"find", "zzzzzz"}, []string{"no insect group matches"}, 1},
		{"an unknown region", []string{"find", "PMD", "--region", "mars"}, []string{"unknown region", "upper-midwest"}, 2},
		{"a month cut short", []string{"find", "October cadis", "--month", "sept", "--region", "rockies"}, []string{"october-caddis", "spelling guessed"}, 0},
		{"no such month", []string{"find", "PMD", "--month", "13"}, []string{"is not a month"}, 2},
		{"half a place", []string{"find", "PMD", "--near", "51"}, []string{"latitude,longitude"}, 2},
		{"a place at sea", []string{"find", "PMD", "--near", "0,0"}, []string{"no region"}, 2},
		{"show tells grade and source", []string{"show", "salmonfly", "--region", "rockies"}, []string{"derived from published figures", "GRE00", "Gregory", "on the water: no", "840"}, 0},
		{"show of an unknown key", []string{"show", "nobody"}, []string{"eclose group find nobody"}, 2},
		{"list of a region", []string{"list", "--region", "uk"}, []string{"danica-mayfly"}, 0},
		{"a reader's own table", []string{"show", "trico", "--groups", mine}, []string{"22-28", "my own diary"}, 0},
		{"a wrong table names its line", []string{"show", "trico", "--groups", bad}, []string{"bad.csv:2:"}, 2},
	} {
		t.Run(tc.what, func(t *testing.T) {
			var out bytes.Buffer
			code := run(append([]string{"group"}, tc.args...), strings.NewReader(""), &out, &out)
			if code != tc.code {
				t.Errorf("exit %d, want %d: %s", code, tc.code, out.String())
			}
			for _, w := range tc.want {
				if !strings.Contains(out.String(), w) {
					t.Errorf("%q is not in\n%s", w, out.String())
				}
			}
		})
	}
}

func TestGroupFindIsAtMostEightyColumnsWide(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"green drake"}, {"caddis"}, {"march brown", "--region", "uk"}, {"BWO", "--month", "10"}, {"sedge", "--near=-45,168"}} {
		var out bytes.Buffer
		if code := run(append([]string{"group", "find"}, args...), strings.NewReader(""), &out, &out); code != 0 {
			t.Fatalf("%v: exit %d: %s", args, code, out.String())
		}
		for line := range strings.Lines(out.String()) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
				t.Errorf("%v: %d columns: %s", args, n, line)
			}
		}
	}
}

func TestGroupJSON(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"find", "trico"}, {"show", "trico"}, {"list"}} {
		var out, errs bytes.Buffer
		if code := run(append([]string{"group"}, append(args, "--format", "json")...), strings.NewReader(""), &out, &errs); code != 0 {
			t.Fatalf("%v: exit %d: %s", args, code, errs.String())
		}
		if !json.Valid(out.Bytes()) {
			t.Errorf("%v: not JSON: %s", args, out.String())
		}
	}
}
