// Mutants changes the code that judges water, one number, comparison or bound at
// a time, and tells which changes no test notices.
//
//	go run ./.ci/mutants [-every N] [-files REGEXP]
//
// A mutant is compiled beside the source by the go tool's overlay; no file of the
// repository is touched. It exits with 1 when a mutant survives that survivors.txt
// beside it does not name with a reason.
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// target is a file and the tests that must notice.
type target struct{ file, pkg, run string }

func targets() (out []target) {
	for _, name := range []string{"assess", "around", "reading", "rise", "gate", "level", "warning", "weather", "width"} {
		out = append(out, target{"model/wading/" + name + ".go", "./model/wading", "."})
	}
	out = append(out, target{"forecast/caution.go", "./forecast", "Gauge|Caution|Doubt|Thunder|Darkest|LastReading|Record"})
	for _, name := range []string{"agency", "climatology", "config", "qc", "trade"} {
		out = append(out, target{"ingest/qc/" + name + ".go", "./ingest/qc", "."})
	}
	return out
}

// mutant is one change of a file's text.
type mutant struct {
	from, to int
	text     string
	what     string // "gate.go stepShare = 20.0 -> 24"
}

func main() {
	every := flag.Int("every", 1, "try one mutant in so many")
	files := flag.String("files", ".", "only files whose path matches")
	flag.Parse()
	known, err := reasons(".ci/mutants/survivors.txt")
	if err != nil {
		fail(err)
	}
	dir, err := os.MkdirTemp("", "mutants")
	if err != nil {
		fail(err)
	}
	defer os.RemoveAll(dir) //nolint:errcheck // a folder of this run
	tried, caught, fresh := 0, 0, 0
	for _, t := range targets() {
		if ok, err := regexp.MatchString(*files, t.file); err != nil || !ok {
			continue
		}
		src, err := os.ReadFile(t.file)
		if err != nil {
			fail(err)
		}
		all, err := mutantsOf(t.file, src)
		if err != nil {
			fail(err)
		}
		for i, m := range all {
			if i%*every != 0 {
				continue
			}
			tried++
			noticed, err := noticed(dir, t, src, m)
			switch {
			case err != nil:
				fail(err)
			case noticed:
				caught++
			case known[m.what] != "":
				fmt.Println("survives:", m.what, "#", known[m.what])
			default:
				fresh++
				fmt.Println("SURVIVES:", m.what)
			}
		}
	}
	fmt.Printf("%d mutants, %d caught, %d survive with a reason, %d without\n", tried, caught, tried-caught-fresh, fresh)
	if fresh > 0 {
		os.Exit(1)
	}
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "mutants:", err)
	os.Exit(2)
}

// noticed reports whether the tests fail with a mutant. One that does not compile
// is noticed too.
func noticed(dir string, t target, src []byte, m mutant) (bool, error) {
	text := string(src[:m.from]) + m.text + string(src[m.to:])
	file := filepath.Join(dir, "mutant.go")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		return false, err
	}
	here, err := filepath.Abs(t.file)
	if err != nil {
		return false, err
	}
	overlay, err := json.Marshal(map[string]any{"Replace": map[string]string{here: file}})
	if err != nil {
		return false, err
	}
	if err := os.WriteFile(filepath.Join(dir, "overlay.json"), overlay, 0o600); err != nil {
		return false, err
	}
	cmd := exec.Command("go", "test", "-short", "-failfast", "-timeout", "5m", "-overlay", filepath.Join(dir, "overlay.json"), "-run", t.run, t.pkg)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil {
		return true, nil //nolint:nilerr // the tests failing is what is looked for
	}
	return false, nil
}

// swaps turn a comparison around. The bounds themselves (< for <=) are left alone:
// a measured value is never exactly on them.
var swaps = map[token.Token]string{
	token.LSS: ">=", token.LEQ: ">", token.GTR: "<=", token.GEQ: "<", token.LAND: "||", token.LOR: "&&", token.EQL: "!=", token.NEQ: "==",
}

func mutantsOf(file string, src []byte) (out []mutant, err error) {
	set := token.NewFileSet()
	tree, err := parser.ParseFile(set, file, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	seen := map[string]int{}
	add := func(at, end token.Pos, text string) {
		from, to := set.Position(at).Offset, set.Position(end).Offset
		line := strings.TrimSpace(lineOf(src, from))
		what := fmt.Sprintf("%s: %s | %s -> %s", filepath.Base(file), line, src[from:to], text)
		seen[what]++
		if n := seen[what]; n > 1 {
			what += fmt.Sprintf(" (%d)", n)
		}
		out = append(out, mutant{from, to, text, what})
	}
	ast.Inspect(tree, func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.IndexExpr: // array positions say nothing of water
			return false
		case *ast.BasicLit:
			if text := another(x); text != "" {
				add(x.Pos(), x.End(), text)
			}
		case *ast.BinaryExpr:
			if s, ok := swaps[x.Op]; ok {
				add(x.OpPos, x.OpPos+token.Pos(len(x.Op.String())), s)
			}
		case *ast.CallExpr:
			if f, ok := x.Fun.(*ast.Ident); ok && (f.Name == "min" || f.Name == "max") && len(x.Args) > 1 {
				add(f.Pos(), f.End(), map[string]string{"min": "max", "max": "min"}[f.Name])
			}
		}
		return true
	})
	return out, nil
}

// another is a number a fifth larger, for one that may be a threshold; empty for
// 0, 1 and -1, which are positions and signs, and for what is no number.
func another(x *ast.BasicLit) string {
	if x.Kind != token.FLOAT && x.Kind != token.INT {
		return ""
	}
	v, err := strconv.ParseFloat(x.Value, 64)
	if err != nil || v == 0 || v == 1 || v < 1e-6 { // the last for rounding errors
		return ""
	}
	if x.Kind == token.INT {
		return strconv.Itoa(int(v*1.2) + 1)
	}
	return strconv.FormatFloat(v*1.2, 'g', 6, 64)
}

func lineOf(src []byte, at int) string {
	from := bytes.LastIndexByte(src[:at], '\n') + 1
	to := at + bytes.IndexByte(src[at:], '\n')
	return string(src[from:to])
}

// reasons reads the survivors that were looked at: "mutant # reason" a line.
func reasons(file string) (map[string]string, error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	for line := range strings.Lines(string(b)) {
		if what, why, ok := strings.Cut(strings.TrimSpace(line), " # "); ok {
			out[what] = why
		}
	}
	return out, nil
}
