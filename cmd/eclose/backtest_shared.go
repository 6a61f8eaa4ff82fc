package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast/backtest/rivers"
	"example.org/eclose/ingest/series"
)

// sharedBacktest is a backtest whose seasons are jobs: as many processes as work
// the database compute them, and eclose backtest --run puts them together.
type sharedBacktest struct {
	Name    string   `name:"run" help:"Backtest: name of the run; adding it again resumes it." placeholder:"NAME"`
	Seasons string   `help:"Backtest: seasons, e.g. 2015..2024." placeholder:"A..B"`
	Leads   []int    `default:"0,7,14,30,60" help:"Backtest: lead times in days."`
	Every   int      `default:"7" help:"Backtest: days between forecasts."`
	Members int      `default:"50" help:"Backtest: ensemble size."`
	Without []string `placeholder:"KIND" help:"Backtest: kinds of sightings that no forecast may know: own, reader, neighbour, record."`
}

var runName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,40}$`)

// backtest begins a run and adds a job for each season of each river.
func (c jobsAddCmd) backtest(e *env) (err error) {
	if !runName.MatchString(c.Name) {
		return app.Usagef("--run %q: use lower-case letters, digits and hyphens", c.Name)
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return app.Usage(err)
	}
	wanted, err := app.Rivers(cfg, c.River)
	if err != nil {
		return app.Usage(err)
	}
	b := work.Backtest{Leads: c.Leads, Every: c.Every, Members: c.Members, Now: e.now().UTC()}
	if b.First, b.Last, err = seasonRange(c.Seasons); err != nil {
		return app.Usage(err)
	}
	for _, r := range wanted {
		b.Rivers = append(b.Rivers, r.Slug)
	}
	plan := b.Plan()
	plan.Rivers = wanted
	if err := plan.Check(); err != nil {
		return app.Usage(err)
	}
	b.Leads = plan.Leads
	if b.Without, err = kindsOf(c.Without); err != nil {
		return err
	}
	seen, err := app.Seen(e.ctx, cfg, e.now())
	if err != nil {
		return err
	}
	b.Sightings, b.Sites, b.Open = seen.Sightings, seen.Sites, seen.Open
	files, err := series.OpenFiles(e.ctx, cfg.StoreURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, files.Close()) }()
	switch begun, err := work.ReadBacktest(e.ctx, files, c.Name); {
	case errors.Is(err, work.ErrNoRun):
		if err := work.WriteBacktest(e.ctx, files, c.Name, b); err != nil {
			return err
		}
	case err != nil:
		return err
	case begun.First != b.First || begun.Last != b.Last || begun.Every != b.Every || begun.Members != b.Members || !slices.Equal(begun.Leads, b.Leads) || !slices.Equal(begun.Rivers, b.Rivers) || !slices.Equal(begun.Without, b.Without):
		return app.Usagef("--run %s exists with different settings; choose another name", c.Name)
	}
	return c.change(e, func(_ *config.Config, q *jobs.Queue) error {
		var all []jobs.Args
		for _, r := range b.Rivers {
			for season := b.First; season <= b.Last; season++ {
				all = append(all, jobs.BacktestSeason{Run: c.Name, River: r, Season: season})
			}
		}
		n, err := q.Add(e.ctx, all...)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "%d jobs added, %d already queued. When they finish, run: eclose backtest --config %s --run %s\n", n, len(all)-n, c.Config, c.Name)
		return nil
	})
}

// collect makes the plan of a run and fetches the seasons that its workers have
// finished into the plan's folder. What is missing is computed here.
func collect(ctx context.Context, cfg *config.Config, run string, plan *rivers.Plan) (err error) {
	files, err := series.OpenFiles(ctx, cfg.StoreURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, files.Close()) }()
	b, err := work.ReadBacktest(ctx, files, run)
	if errors.Is(err, work.ErrNoRun) {
		return app.Usagef("%w; start one with: eclose jobs add backtest --run %s", err, run)
	}
	if err != nil {
		return err
	}
	p := b.Plan()
	if len(plan.Without) > 0 && !slices.Equal(plan.Without, p.Without) {
		return app.Usagef("--without: the run %s was started otherwise; start another with: eclose jobs add backtest --run NAME --without KIND", run)
	}
	p.Catalogue, p.Workers, p.Dir = plan.Catalogue, plan.Workers, plan.Dir
	if p.Rivers, err = app.Rivers(cfg, b.Rivers); err != nil {
		return app.Usage(err)
	}
	*plan = p
	if err := os.MkdirAll(plan.Dir, 0o755); err != nil {
		return fmt.Errorf("creating the folder for finished seasons: %w", err)
	}
	return files.List(ctx, work.BacktestFolder(run)+"/slices", func(name string, size int64) error {
		text, err := files.Read(ctx, name, size)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(plan.Dir, path.Base(name)), text, 0o600)
	})
}
