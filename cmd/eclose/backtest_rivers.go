package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/backtest/rivers"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/series"
)

// riversBacktest judges the outlooks of a config's rivers.
type riversBacktest struct {
	Config  string   `placeholder:"FILE" help:"Reissue forecasts for this config's rivers in past seasons and score them."`
	Seasons string   `placeholder:"A..B" help:"Seasons to score, e.g. 2015..2024; needed with --config."`
	Leads   []int    `default:"0,7,14,30,60" help:"With --config: lead times in days."`
	River   []string `aliases:"rivers" placeholder:"NAME" help:"With --config: only these rivers."`
	Every   int      `default:"7" help:"With --config: days between issues."`
	Members int      `default:"50" help:"With --config: ensemble size."`
	Workers int      `default:"2" help:"With --config: number of parallel workers; does not change results."`
	Shared  string   `name:"run" placeholder:"NAME" help:"With --config: report on a run started with 'eclose jobs add backtest'."`
	Without []string `placeholder:"KIND" help:"With --config: kinds of sightings that no forecast may know: own, reader, neighbour, record."`
	Record  string   `name:"leave-out" placeholder:"RECORD" help:"With --config: leave out the catalogue's dates that come from this record, so that it is not scored against itself."`
	Out     string   `default:"backtest" placeholder:"DIR" type:"path" help:"With --config: folder for the report and for finished seasons; an interrupted run resumes from it."`
}

func (c riversBacktest) rivers(e *env) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return app.Usage(err)
	}
	plan := rivers.Plan{Leads: c.Leads, Every: c.Every, Members: c.Members, Workers: c.Workers, Now: e.now(), Dir: filepath.Join(c.Out, "slices")}
	if plan.Without, err = kindsOf(c.Without); err != nil {
		return err
	}
	if plan.Catalogue, err = app.LoadCatalogue(cfg); err != nil {
		return app.Usage(err)
	}
	if known := plan.Catalogue.Records(); c.Record != "" && !slices.Contains(known, c.Record) {
		return app.Usagef("--leave-out %s: the catalogue has no dates from such a record; it has %s", c.Record, strings.Join(known, ", "))
	}
	if plan.Catalogue, err = plan.Catalogue.Without(c.Record); err != nil {
		return err
	}
	if c.Shared != "" {
		err = collect(e.ctx, cfg, c.Shared, &plan)
	} else {
		err = c.plan(e, cfg, &plan)
	}
	if err != nil {
		return err
	}
	if err := plan.Check(); err != nil {
		return app.Usage(err)
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	bar := newProgress(e, "seasons of rivers")
	bar.done(0, len(plan.Rivers)*(plan.Last-plan.First+1)) // the first season takes a while
	plan.Done = bar.done
	if os.Getenv("GOGC") == "" {
		defer debug.SetGCPercent(debug.SetGCPercent(rivers.GCPercent))
	}
	o, err := rivers.Run(e.ctx, plan, rivers.Stored{Store: store, Now: plan.Now})
	bar.end()
	if err != nil {
		return err
	}
	if o.Resumed > 0 {
		e.note("resuming: %d of %d seasons already done", o.Resumed, len(o.Shards))
	}
	return writeBacktest(e, rivers.Judge(o), c.Out, cfg.Notice, plan.Now)
}

// plan takes seasons, rivers and sightings from the command line, the config and
// the diary.
func (c riversBacktest) plan(e *env, cfg *config.Config, plan *rivers.Plan) (err error) {
	if plan.First, plan.Last, err = seasonRange(c.Seasons); err != nil {
		return app.Usage(err)
	}
	if plan.Rivers, err = app.Rivers(cfg, c.River); err != nil {
		return app.Usage(err)
	}
	seen, err := app.Seen(e.ctx, cfg, e.now())
	plan.Sightings, plan.Sites, plan.Open = seen.Sightings, seen.Sites, seen.Open
	return err
}

// kindsOf reads kinds of sightings as the command line names them.
func kindsOf(names []string) (out []forecast.SightingKind, err error) {
	for _, k := range names {
		switch k {
		case "own":
			out = append(out, forecast.Own)
		case string(forecast.Readers), string(forecast.Neighbours), string(forecast.Records):
			out = append(out, forecast.SightingKind(k))
		default:
			return nil, app.Usagef("--without: unknown kind %q; use own, reader, neighbour or record", k)
		}
	}
	return out, nil
}

// seasonRange reads A..B, or one season.
func seasonRange(s string) (first, last int, err error) {
	a, b, both := strings.Cut(s, "..")
	if !both {
		b = a
	}
	first, err1 := strconv.Atoi(a)
	last, err2 := strconv.Atoi(b)
	if err1 != nil || err2 != nil || first < 1800 || last > 2200 || first > last {
		return 0, 0, fmt.Errorf("--seasons %q: write as 2015..2024", s)
	}
	return first, last, nil
}

// writeBacktest writes the report's files and prints its sentences.
func writeBacktest(e *env, r *rivers.Report, dir, notice string, now time.Time) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("creating the report folder: %w", err)
	}
	meta := export.Meta{Title: fmt.Sprintf("Backtest of seasons %d to %d", r.First, r.Last), Source: "eclose, model version " + r.ModelVersion,
		History: "eclose backtest", Created: now, Notice: notice}
	if err := export.File(filepath.Join(dir, "report.html"), func(w io.Writer) error { return r.WritePage(w) }); err != nil {
		return err
	}
	for _, f := range []export.Format{export.CSV, export.Parquet} {
		name := func(base string) string { return filepath.Join(dir, base+"."+string(f)) }
		if _, err := export.WriteTableFile(name("scores"), f, rivers.ScoreTable, meta, export.Rows(r.Scores)); err != nil {
			return err
		}
		if _, err := export.WriteTableFile(name("dates"), f, rivers.DateTable, meta, r.AllDates()); err != nil {
			return err
		}
		if !r.BySightings {
			continue
		}
		if _, err := export.WriteTableFile(name("sightings"), f, rivers.CaseTable, meta, r.AllCases()); err != nil {
			return err
		}
	}
	if err := sayAll(e.stdout, r.Sentences); err != nil {
		return err
	}
	// The page of eclose serve begins its record with these.
	if err := export.File(filepath.Join(dir, "backtest.txt"), func(w io.Writer) error { _, err := io.WriteString(w, strings.Join(r.Sentences, "\n")+"\n"); return err }); err != nil {
		return err
	}
	what := "scores and dates"
	if r.BySightings {
		what = "scores, dates and sightings"
	}
	fmt.Fprintf(e.stdout, "\nWritten to %s: report.html, and %s as .csv and .parquet.\n", dir, what)
	return nil
}
