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
// noun stands for one thing, so a name here wants a good reason; the shorter this
// list, the better.
var sharedNames = map[string]string{
	"Amount":         "diary.Amount is what an observer enters; phenology.Amount is what a likelihood takes: model imports no diary",
	"Area":           "api.Area is what a reader asks for, warning.Area where a warning holds",
	"Bin":            "verify.Bin is one of a decomposition; rivers.Bin is a row of the report",
	"Builder":        "ingest.Builder grows a series; sources.Builder makes sources from a config",
	"Change":         "series.Change counts readings; alert.Change is a change of caution level",
	"Climatology":    "qc's is QARTOD's term for a range by season, watertemp's the hydrologist's for a mean year",
	"Clock":          "jobs.Clock is a machine's offset, engine.Clock a degree-day clock",
	"Column":         "columns of a config, of an export and of a CSV file: each package declares its own",
	"Config":         "the standard library's habit: each package that is set up names its settings so",
	"Data":           "page.Data is what a page reads, subscribe.Data what a subscriber may download",
	"Day":            "forecast.Day is a day of a forecast, series.Day a daily statistic, alert.Day a civil date",
	"Error":          "ingest.Error is a fault, watertemp.Error the model's error in °C: each the term of its field",
	"Event":          "client.Event is what became of a request, webhook.Event what a receiver is told",
	"Feed":           "config.Feed is the settings of a feed, page.Feed its line on the page, response.Feed its name in faults",
	"Files":          "series.Files keeps whole files, warning.Files is the part of it that a record of warnings needs",
	"Filter":         "jobs.Filter chooses jobs, diary.Filter sightings",
	"Flood":          "config.Flood is heights as written, wading.Flood in metres",
	"Flow":           "chart.Flow is a picture's data, alert.Flow a state with its age",
	"Future":         "the weather of one member, as each model takes it",
	"Gauge":          "config.Gauge is what a user asks for, ingest.Gauge what an agency lists",
	"Group":          "insects.Group is the catalogue's, engine.Group its draws for one river",
	"Hazard":         "ingest sorts what a service sends, wading names what it judges: model imports no ingest",
	"Hours":          "insects.Hours are by the sun or its time, forecast.Hours on a river's clock",
	"Input":          "the inputs of one model each",
	"LeftOut":        "schedule.LeftOut is of rows of a response, records.LeftOut why a record stands for no group",
	"Limits":         "health.Limits bound the checks of a deployment, wading.Limits are the flows where levels begin",
	"Model":          "flow.Model is a fitted river, watertemp.Model a fitted reach",
	"Normal":         "backtest.Normal is the distribution, usgs.Normal the service's word for a long-term statistic",
	"Option":         "config.Option is a line of the table, series.Option the functional option of Go's habit",
	"Options":        "the standard library's habit: each package names its knobs so",
	"Outcome":        "schedule's is of a fetch, alert's of a mail, rivers' of a backtest",
	"Outlook":        "forecast.Outlook is the thing; jobs', db's and alert's are its job, its row and its part that mails need",
	"Page":           "one answer of a service of open records, as each sends it",
	"Params":         "the parameters of one model each",
	"Parser":         "one a feed, all of them ingest.Parser",
	"Place":          "what one package must know of a place: warning its zones, insects its latitude and elevation",
	"Plan":           "jobs.Plan makes the jobs of a slot, rivers.Plan says what a backtest reissues",
	"Query":          "series.Query chooses readings; the others what a service of open records is asked",
	"Queue":          "work.Queue is the part of jobs.Queue that the work uses",
	"Range":          "forecast.Range is of dates, engine.Range of indices, qc.Range of values",
	"Reader":         "forecast.Reader is the part of the store that a forecast reads, work.Reader a subscriber",
	"Reading":        "the caution's value with its age, in the terms of the package that asks; diary.Reading is how a CSV is read",
	"Record":         "backtest.Record is a row of a catch, forecast.Record the columns of a river",
	"Report":         "each package that judges something reports so",
	"Request":        "ingest.Request asks a source, client.Request is one GET, subscribe.Request an unconfirmed subscription",
	"Result":         "engine.Result is a forecast, alert.Result an answer of a relay",
	"River":          "what one package must know of a river: settings, forecast input, freshness, trip",
	"Score":          "rivers.Score is of a backtest, watertemp.Score of a fit",
	"Season":         "chart.Season is a picture, the others one year of a record",
	"Series":         "ingest.Series is readings, backtest.Series one taxon at one site",
	"Server":         "feed.Server says how an agency is reached, replay.Server answers in tests",
	"Sighting":       "diary.Sighting is kept, rivers.Sighting is what a backtest reads of one",
	"Site":           "insects.Site is where an adult emerges, mail.Site the sender's web site",
	"Source":         "one a feed, all of them ingest.Source; rivers.Source reads a store, insects.Source is a citation",
	"Span":           "config.Span is a duration as written, insects.Span days of a year",
	"Stage":          "emergence or egg-laying, as an index, a word or a result: model imports no forecast",
	"State":          "page.State is of a page, sun.State of the sun",
	"Store":          "each package keeps its own rows",
	"Stored":         "archive.Stored is a written file, rivers.Stored a source on a store",
	"Summary":        "feed.Summary is of a series, backtest.Summary of the gain over calendars",
	"TooLittleError": "the days that a fit lacks, of flow or of pairs of water and air temperature",
	"Transport":      "mail.Transport is the implementation of alert.Transport",
	"Warning":        "ingest keeps the whole message, wading and alert what they judge or print: model imports no ingest",
	"Warnings":       "config.Warnings is a setting, jobs.Warnings a job, wading.Warnings the list with how well it is known",
	"WaterDay":       "forecast.WaterDay is of a forecast, alert.WaterDay its part that emails need",
	"Webhook":        "config.Webhook is a setting, jobs.Webhook a job",
	"Window":         "dates (insects), indices (engine), dates with uncertainty (forecast), days of a fit (phenology)",
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

func TestFunctionsAreShort(t *testing.T) {
	fset, files := goFiles(t)
	for _, s := range files {
		for _, d := range s.file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			if n := fset.Position(f.End()).Line - fset.Position(f.Pos()).Line + 1; n > longestFunction {
				t.Errorf("%s %s has %d lines; a function has at most %d", s.path, f.Name.Name, n, longestFunction)
			}
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
