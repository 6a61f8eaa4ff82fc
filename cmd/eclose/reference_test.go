package main

import (
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"example.org/eclose/cmd/eclose/internal/api"
	"example.org/eclose/cmd/eclose/internal/config"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast/export"
	"example.org/eclose/model/insects"
)

var update = flag.Bool("update", false, "write the reference anew instead of comparing it")

// The pages of the reference that are made from code are what the code makes now:
//
//	go test ./cmd/eclose -run TestReference -update
func TestReference(t *testing.T) {
	for name, made := range map[string]func(*testing.T) string{
		"commands": referenceOfCommands, "options": referenceOfOptions, "api": referenceOfAPI, "exports": referenceOfExports, "insects": referenceOfInsects,
	} {
		path := filepath.Join("docs", "reference", name+".md")
		text := made(t)
		if *update {
			if err := os.WriteFile(path, []byte(text), 0o644); err != nil { //nolint:gosec // a document
				t.Fatal(err)
			}
		}
		kept, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(kept) != text {
			t.Errorf("%s is not what the code makes; run go test ./cmd/eclose -run TestReference -update", path)
		}
	}
}

// sheet is a page that is being made.
type sheet struct{ strings.Builder }

func (p *sheet) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

// table writes rows of cells; a row is left out where it has none.
func (p *sheet) table(head []string, rows [][]string) {
	p.line("\n| %s |\n|%s", strings.Join(head, " | "), strings.Repeat(" --- |", len(head)))
	for _, cells := range rows {
		for i := range cells {
			cells[i] = strings.ReplaceAll(strings.ReplaceAll(cells[i], "|", `\|`), "\n", " ")
		}
		p.line("| %s |", strings.Join(cells, " | "))
	}
}

func code(s string) string {
	if s == "" {
		return ""
	}
	return "`" + s + "`"
}

const madeFrom = "Made from the code of this version by `go test ./cmd/eclose -run TestReference -update`; a test holds it equal. [All documents](../README.md)."

func parserForTests(t *testing.T) *kong.Kong {
	t.Helper()
	parser, err := parserOf(&cli{}, &env{stdout: io.Discard, stderr: io.Discard, now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	return parser
}

func referenceOfCommands(t *testing.T) string {
	tree := parserForTests(t).Model
	p := &sheet{}
	p.line("# Commands\n\n%s\n\n## Exit codes\n", madeFrom)
	for c := range strings.SplitSeq(exitCodes, ". ") {
		p.line("- %s", strings.TrimSuffix(c, "."))
	}
	p.line("\nResults go to standard output, notes to standard error.\n\n## Options of every command")
	p.options(tree.Node)
	for _, n := range tree.Children {
		p.command(n, "##")
	}
	return p.String()
}

// command writes one command, and those below it.
func (p *sheet) command(n *kong.Node, heading string) {
	if n.Hidden {
		return
	}
	p.line("%s %s\n\n%s", heading, n.FullPath(), n.Help)
	if len(n.Children) == 0 {
		usage := n.FullPath()
		for _, a := range n.Positional {
			usage += " " + a.Summary()
		}
		p.line("\nUsage: `%s [OPTION...]`", usage)
	}
	for _, a := range n.Positional {
		p.line("\n`%s`: %s", a.Name, cmp.Or(a.Help, "The "+a.Name+"."))
	}
	p.options(n)
	for _, c := range n.Children {
		p.command(c, heading+"#")
	}
}

func (p *sheet) options(n *kong.Node) {
	var rows [][]string
	for _, f := range n.Flags {
		if f.Hidden {
			continue
		}
		name := "--" + f.Name
		if f.Tag.Negatable != "" {
			name = "--[no-]" + f.Name
		}
		if !f.IsBool() {
			name += "=" + cmp.Or(f.PlaceHolder, strings.ToUpper(f.Name))
		}
		if f.Short != 0 {
			name = "-" + string(f.Short) + ", " + name
		}
		help := f.Help
		if f.Required {
			help += " Required."
		}
		if words := slices.DeleteFunc(f.EnumSlice(), func(w string) bool { return w == "" }); f.Enum != "" && slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(help, w) }) {
			help += " One of " + strings.Join(words, ", ") + "."
		}
		value := ""
		if f.HasDefault {
			value = code(f.Default)
		}
		if len(f.Envs) > 0 {
			help += " Environment variable: `" + strings.Join(f.Envs, "`, `") + "`."
		}
		rows = append(rows, []string{code(name), value, help})
	}
	if len(rows) > 0 {
		p.table([]string{"option", "default", "what it does"}, rows)
	}
	p.line("")
}

func referenceOfOptions(t *testing.T) string {
	_, path := write(t, "[[river]]\nname = \"Wend\"\nlat = 44\nlon = -115\n[[river.gauge]]\nfeed = \"usgs\"\nsite = \"1\"\n")
	cfg, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	values, err := cfg.Values(text, path)
	if err != nil {
		t.Fatal(err)
	}
	p := &sheet{}
	p.line("# Options of the config file\n\n%s\n\n"+
		"The config is a TOML file: `serve.addr` is `addr` under `[serve]`. There may be any number of `[[river]]`, of `[[river.gauge]]` below each, and of `[[webhook]]`. NAME stands for a feed: %s. "+
		"What a secret option holds or names is never printed. `eclose config show` prints each option in force and where it comes from. A faulty config is refused with a list of every fault.", madeFrom, strings.Join(config.FeedNames(), ", "))
	var rows [][]string
	for _, o := range config.Options {
		key, value := code(o.Key), o.Default
		if o.Secret {
			key += " (secret)"
		}
		if slices.ContainsFunc(values, func(s config.Setting) bool { return s.Key == o.Key && s.Source == "default" }) {
			value = code(value)
		}
		rows = append(rows, []string{key, value, o.Help})
	}
	p.table([]string{"option", "default", "what it is"}, rows)
	return strings.TrimRight(p.String(), "\n") + "\n"
}

func referenceOfExports(*testing.T) string {
	p := &sheet{}
	p.line("# Columns of the exports\n\n%s\n\nFormats of the forecast table: %s. A CSV file has its description beside it (`NAME-metadata.json`, W3C CSV on the Web). The version changes whenever a column is renamed, removed or changes its meaning. A cell without a value is empty.", madeFrom, formatNames())
	columns(p, "The forecast table", "`eclose export`", export.Outlooks)
	columns(p, "Forecasts in the EFI convention", "`eclose export --format efi`", export.EFI)
	columns(p, "Observations to score them by", "`eclose export --format efi --observations FILE`", export.Targets)
	return strings.TrimRight(p.String(), "\n") + "\n"
}

func formatNames() string {
	var out []string
	for _, f := range export.Formats {
		out = append(out, code(string(f)))
	}
	return strings.Join(out, ", ")
}

func columns[R any](p *sheet, title, command string, t export.Table[R]) {
	p.line("\n## %s\n\nWritten by %s. Version %s. One row for each %s.", title, command, t.Version, strings.Join(t.Key, ", "))
	var rows [][]string
	for _, c := range t.Columns {
		rows = append(rows, []string{code(c.Name), c.Units, c.Long})
	}
	p.table([]string{"column", "unit", "what it is"}, rows)
}

func referenceOfInsects(t *testing.T) string {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	p := &sheet{}
	groups := c.Groups()
	p.line("# Insects and regions\n\n%s\n\n`eclose group find NAME` prints what a name may mean, `eclose group show KEY` every value with its evidence and source. The river's place sets the region; `river.region` overrules it.\n\n## Regions", madeFrom)
	var rows [][]string
	grades, windows := map[insects.Grade]int{}, 0
	for _, r := range insects.Regions {
		all, onLand := c.Forecastable(r), 0
		for _, g := range all {
			if g.EmergenceSite == insects.OnLand {
				onLand++
			}
		}
		for i := range groups {
			for _, s := range insects.Stages {
				if w, ok := groups[i].Window(r, s); ok && !w.Shifted {
					windows++
					grades[w.Origin.Grade]++
				}
			}
		}
		rows = append(rows, []string{code(string(r)), r.Words(), fmt.Sprint(len(all)), fmt.Sprint(onLand)})
	}
	p.table([]string{"region", "where", "groups", "of them land insects"}, rows)
	p.line("\n## What the dates rest on\n\n%d windows, by the evidence for their dates:", windows)
	rows = nil
	for _, g := range slices.SortedFunc(maps.Keys(grades), func(a, b insects.Grade) int { return cmp.Or(grades[b]-grades[a], cmp.Compare(a, b)) }) {
		rows = append(rows, []string{g.Words(), fmt.Sprint(grades[g])})
	}
	p.table([]string{"evidence", "windows"}, rows)
	p.line("\n## Groups\n\n%d groups, each the unit of a forecast. Genera are what the group stands for.", len(groups))
	rows = nil
	for i := range groups {
		g := &groups[i]
		var in []string
		for _, r := range g.Regions() {
			in = append(in, string(r))
		}
		rows = append(rows, []string{code(g.Key), g.Order, strings.Join(g.Genera, ", "), cmp.Or(strings.Join(in, ", "), "its broods have a row each")})
	}
	p.table([]string{"key", "order", "genera", "regions"}, rows)
	return strings.TrimRight(p.String(), "\n") + "\n"
}

// openAPI is the part of the description that the reference shows.
type openAPI struct {
	Paths map[string]map[string]struct {
		Summary    string
		Parameters []struct {
			Name, In, Description string
			Required              bool
		}
		Responses map[string]struct {
			Content map[string]struct {
				Schema struct {
					Ref string `json:"$ref"`
				}
			}
		}
	}
	Components struct {
		Schemas map[string]struct {
			Description string
			Properties  map[string]struct {
				Ref         string `json:"$ref"`
				Type        any
				Format      string
				Description string
				Items       struct {
					Ref  string `json:"$ref"`
					Type any
				}
			}
		}
	}
}

func referenceOfAPI(t *testing.T) string {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	h, err := api.New(api.Options{Data: pages.NewMemory(nil), Catalogue: c, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, httptest.NewRequestWithContext(t.Context(), "GET", api.Root+"/openapi.json", nil))
	var d openAPI
	if err := json.Unmarshal(rec.Body.Bytes(), &d); err != nil || len(d.Paths) == 0 {
		t.Fatalf("%d paths, %v", len(d.Paths), err)
	}
	p := &sheet{}
	p.line("# The HTTP API\n\n%s\n\nThe whole description, from which clients are generated, is at `%[2]s/openapi.json` (OpenAPI 3.1) and `%[2]s/openapi-3.0.json` of a running server. Every path is read by `GET`. Another format than JSON is asked for by `Accept` or by its ending (`.csv`, `.geojson`). Errors are problem details (RFC 9457).\n\n## Paths", madeFrom, api.Root)
	short := func(ref string) string { return ref[strings.LastIndex(ref, "/")+1:] }
	for _, path := range slices.Sorted(maps.Keys(d.Paths)) {
		op := d.Paths[path]["get"]
		p.line("\n### `%s`\n\n%s.", path, op.Summary)
		var formats []string
		answer := ""
		for _, f := range slices.Sorted(maps.Keys(op.Responses["200"].Content)) {
			formats = append(formats, code(f))
			if f == "application/json" {
				answer = short(op.Responses["200"].Content[f].Schema.Ref)
			}
		}
		if p.line("\nFormats: %s.", strings.Join(formats, ", ")); answer != "" {
			p.line("Answer: [%s](#%s).", answer, strings.ToLower(answer))
		}
		var rows [][]string
		for _, x := range op.Parameters {
			if x.In != "header" {
				rows = append(rows, []string{code(x.Name), x.In, x.Description})
			}
		}
		if len(rows) > 0 {
			p.table([]string{"parameter", "in", "what it is"}, rows)
		}
	}
	p.line("\n## Answers")
	for _, name := range slices.Sorted(maps.Keys(d.Components.Schemas)) {
		s := d.Components.Schemas[name]
		if len(s.Properties) == 0 {
			continue
		}
		p.line("\n### %s", name)
		var rows [][]string
		for _, key := range slices.Sorted(maps.Keys(s.Properties)) {
			x := s.Properties[key]
			rows = append(rows, []string{code(key), typeName(x.Ref, x.Type, x.Format, x.Items.Ref, x.Items.Type), x.Description})
		}
		p.table([]string{"field", "type", "what it is"}, rows)
	}
	return strings.TrimRight(p.String(), "\n") + "\n"
}

// typeName is the type of a field in a word or two.
func typeName(ref string, kind any, format, itemRef string, item any) string {
	link := func(ref string) string {
		name := ref[strings.LastIndex(ref, "/")+1:]
		return "[" + name + "](#" + strings.ToLower(name) + ")"
	}
	words := func(kind any) string {
		if list, ok := kind.([]any); ok {
			var out []string
			for _, x := range list {
				out = append(out, fmt.Sprint(x))
			}
			return strings.Join(out, " or ")
		}
		if kind == nil {
			return "any"
		}
		return fmt.Sprint(kind)
	}
	switch {
	case ref != "":
		return link(ref)
	case strings.Contains(words(kind), "array") && itemRef != "":
		return "list of " + link(itemRef)
	case strings.Contains(words(kind), "array"):
		return "list of " + words(item)
	case format != "":
		return words(kind) + " (" + format + ")"
	}
	return words(kind)
}
