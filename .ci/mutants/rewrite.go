package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// variable is the environment variable that switches a mutant on.
const variable = "ECLOSE_MUTANT"

// mutant is one change.
type mutant struct {
	id   int
	what string // "gate.go: fallShare = 4.0 | 4.0 -> 4.8"
}

// helpers is what the changed files call.
const helpers = `package %s

import (
	"cmp"
	"os"
	"strconv"
)

var mutantOn, _ = strconv.Atoi(os.Getenv(%q))

func mutantFlip(id int, b bool) bool { return b != (id == mutantOn) }

func mutantAnd(id int, a bool, b func() bool) bool {
	if id == mutantOn {
		return a || b()
	}
	return a && b()
}

func mutantOr(id int, a bool, b func() bool) bool {
	if id == mutantOn {
		return a && b()
	}
	return a || b()
}

func mutantNum[T any](id int, was, is T) T {
	if id == mutantOn {
		return is
	}
	return was
}

func mutantMin[T cmp.Ordered](id int, first T, more ...T) T {
	for _, x := range more {
		if id == mutantOn {
			first = max(first, x)
		} else {
			first = min(first, x)
		}
	}
	return first
}

func mutantMax[T cmp.Ordered](id int, first T, more ...T) T {
	for _, x := range more {
		if id == mutantOn {
			first = min(first, x)
		} else {
			first = max(first, x)
		}
	}
	return first
}
`

// rewrite writes the files of a target with all mutants in them, and notes in
// overlay what replaces what.
func rewrite(dir string, t target, overlay map[string]string) (all []mutant, err error) {
	fset := token.NewFileSet()
	pkg, trees, info, err := check(fset, t.dir)
	if err != nil {
		return nil, err
	}
	put := func(name, text string) error {
		here, err := filepath.Abs(filepath.Join(t.dir, name))
		if err != nil {
			return err
		}
		there := filepath.Join(dir, strings.ReplaceAll(t.dir, "/", "-")+"-"+name)
		overlay[here] = there
		return os.WriteFile(there, []byte(text), 0o600)
	}
	uses := usesOf(info)
	for _, name := range t.files {
		path := filepath.Join(t.dir, name)
		src, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		c := &changer{src: src, name: name, file: fset.File(trees[path].Pos()), pkg: pkg, info: info, uses: uses, next: len(all) + 1, seen: map[string]int{}}
		ast.Inspect(trees[path], c.visit)
		all = append(all, c.mutants...)
		if err := put(name, c.text()); err != nil {
			return nil, err
		}
	}
	return all, put("mutants_on.go", fmt.Sprintf(helpers, pkg.Name(), variable))
}

// check parses and type-checks the package of a folder.
func check(fset *token.FileSet, dir string) (*types.Package, map[string]*ast.File, *types.Info, error) {
	out, err := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}}\t{{.Export}}\t{{.Dir}}\t{{join .GoFiles \" \"}}", "./"+dir).Output()
	if err != nil {
		return nil, nil, nil, fmt.Errorf("go list: %w", err)
	}
	exports := map[string]string{}
	var own []string
	for line := range strings.Lines(string(out)) {
		f := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		exports[f[0]] = f[1]
		own = f // the package itself comes last
	}
	trees := map[string]*ast.File{}
	var files []*ast.File
	for name := range strings.FieldsSeq(own[3]) {
		tree, err := parser.ParseFile(fset, filepath.Join(own[2], name), nil, parser.SkipObjectResolution)
		if err != nil {
			return nil, nil, nil, err
		}
		trees[filepath.Join(dir, name)] = tree
		files = append(files, tree)
	}
	conf := types.Config{Importer: importer.ForCompiler(fset, "gc", func(path string) (io.ReadCloser, error) { return os.Open(exports[path]) })}
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Defs: map[*ast.Ident]types.Object{}, Uses: map[*ast.Ident]types.Object{}}
	pkg, err := conf.Check(own[0], fset, files, info)
	return pkg, trees, info, err
}

// usesOf returns as what types each untyped constant is used.
func usesOf(info *types.Info) map[types.Object]types.Type {
	out := map[types.Object]types.Type{}
	for id, o := range info.Uses {
		if t := info.Types[id].Type; t != nil && !untyped(t) {
			out[o] = t
		}
	}
	return out
}

func untyped(t types.Type) bool {
	b, ok := t.(*types.Basic)
	return ok && b.Info()&types.IsUntyped != 0
}

// changer collects the mutants of one file.
type changer struct {
	src     []byte
	name    string
	file    *token.File
	pkg     *types.Package
	info    *types.Info
	uses    map[types.Object]types.Type
	next    int
	seen    map[string]int
	mutants []mutant
	edits   []edit
	as      types.Type // of the untyped numbers of the constant that is being looked at
}

// edit replaces some of the text.
type edit struct {
	from, to int
	text     string
	closes   bool // stands before what opens at the same place
}

func (c *changer) edit(from, to token.Pos, text string, closes bool) {
	c.edits = append(c.edits, edit{c.file.Offset(from), c.file.Offset(to), text, closes})
}

// text is the file with every mutant in it.
func (c *changer) text() string {
	// Of what opens at one place the outer comes first, and was met first; of what
	// closes there the inner comes first, and was met last.
	order := make([]int, len(c.edits))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := c.edits[a], c.edits[b]
		switch {
		case x.from != y.from:
			return x.from - y.from
		case x.closes != y.closes:
			return map[bool]int{true: -1, false: 1}[x.closes]
		case x.closes:
			return b - a
		}
		return a - b
	})
	var out bytes.Buffer
	at := 0
	for _, i := range order {
		e := c.edits[i]
		out.Write(c.src[at:e.from])
		out.WriteString(e.text)
		at = e.to
	}
	out.Write(c.src[at:])
	return out.String()
}

// mutant counts a change in and returns its number.
func (c *changer) mutant(at, end token.Pos, is string) int {
	from, to := c.file.Offset(at), c.file.Offset(end)
	what := fmt.Sprintf("%s: %s | %s -> %s", c.name, strings.TrimSpace(lineOf(c.src, from)), c.src[from:to], is)
	if c.seen[what]++; c.seen[what] > 1 {
		what += fmt.Sprintf(" (%d)", c.seen[what])
	}
	id := c.next
	c.next++
	c.mutants = append(c.mutants, mutant{id, what})
	return id
}

// flips are comparisons and what stands for their contrary. The bounds themselves
// (< for <=) are left alone: a measured value is never exactly on them.
var flips = map[token.Token]string{
	token.LSS: ">=", token.LEQ: ">", token.GTR: "<=", token.GEQ: "<", token.EQL: "!=", token.NEQ: "==",
}

func (c *changer) visit(n ast.Node) bool {
	if x, ok := n.(ast.Expr); ok {
		if v := c.info.Types[x]; v.Value != nil && !untyped(v.Type) {
			c.as = v.Type // and that of the numbers in it
		}
	}
	switch x := n.(type) {
	case *ast.ImportSpec, *ast.IndexExpr, *ast.ArrayType: // array positions and sizes say nothing of water
		return false
	case *ast.Field:
		return false // types, and names without values
	case *ast.GenDecl:
		return c.constants(x)
	case *ast.ValueSpec:
		c.as = nil
		if o, ok := c.info.Defs[x.Names[0]].(*types.Const); ok && len(x.Names) == 1 {
			c.as = c.uses[o]
		}
	case *ast.FuncDecl:
		c.as = nil
	case *ast.BasicLit:
		c.number(x)
	case *ast.BinaryExpr:
		c.binary(x)
	case *ast.CallExpr:
		f, ok := x.Fun.(*ast.Ident)
		if to := map[string]string{"min": "max", "max": "min"}; ok && to[f.Name] != "" && len(x.Args) > 1 {
			id := c.mutant(f.Pos(), f.End(), to[f.Name])
			c.edit(f.Pos(), x.Lparen+1, fmt.Sprintf("mutant%s(%d, ", strings.ToUpper(f.Name[:1])+f.Name[1:], id), false)
		}
	}
	return true
}

// constants turns constants into variables: they get their values at run time.
func (c *changer) constants(d *ast.GenDecl) bool {
	if d.Tok != token.CONST {
		return true
	}
	for _, s := range d.Specs {
		if len(s.(*ast.ValueSpec).Values) == 0 { // goes on from the line before, as with iota
			return false
		}
	}
	iota := false
	ast.Inspect(d, func(n ast.Node) bool {
		if id, ok := n.(*ast.Ident); ok && id.Name == "iota" {
			iota = true
		}
		return !iota
	})
	if !iota {
		c.edit(d.Pos(), d.Pos()+token.Pos(len("const")), "var", false)
	}
	return !iota
}

func (c *changer) number(x *ast.BasicLit) {
	is := another(x)
	if is == "" {
		return
	}
	t := c.info.Types[x].Type
	switch {
	case t == nil:
		return
	case untyped(t) && c.as != nil:
		t = c.as
	case untyped(t):
		t = types.Default(t)
	}
	if b, ok := t.Underlying().(*types.Basic); ok && b.Info()&types.IsInteger != 0 && x.Kind == token.FLOAT {
		return
	}
	id := c.mutant(x.Pos(), x.End(), is)
	name := types.TypeString(t, func(p *types.Package) string {
		if p == c.pkg {
			return ""
		}
		return p.Name()
	})
	c.edit(x.Pos(), x.End(), fmt.Sprintf("mutantNum[%s](%d, %s, %s)", name, id, x.Value, is), false)
}

func (c *changer) binary(x *ast.BinaryExpr) {
	opEnd := x.OpPos + token.Pos(len(x.Op.String()))
	switch {
	case flips[x.Op] != "":
		id := c.mutant(x.OpPos, opEnd, flips[x.Op])
		c.edit(x.Pos(), x.Pos(), fmt.Sprintf("mutantFlip(%d, ", id), false)
		c.edit(x.End(), x.End(), ")", true)
	case x.Op == token.LAND, x.Op == token.LOR:
		name, is := "And", "||"
		if x.Op == token.LOR {
			name, is = "Or", "&&"
		}
		id := c.mutant(x.OpPos, opEnd, is)
		c.edit(x.Pos(), x.Pos(), fmt.Sprintf("mutant%s(%d, ", name, id), false)
		c.edit(x.OpPos, opEnd, ", func() bool { return (", false)
		c.edit(x.End(), x.End(), ") })", true)
	}
}

// another is a number a fifth larger, for one that may be a threshold; empty for
// 0, 1 and -1, which are positions and signs, and for what is no number.
func another(x *ast.BasicLit) string {
	if x.Kind != token.FLOAT && x.Kind != token.INT {
		return ""
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(x.Value, "_", ""), 64)
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

func writeJSON(file string, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return os.WriteFile(file, b, 0o600)
}
