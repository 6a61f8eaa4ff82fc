package main

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
)

// exportCmd writes the newest outlook of each river for other people's tools.
type exportCmd struct {
	configFlag
	Format  string   `required:"" enum:"parquet,arrow,csv,json,geojson,ics" help:"One of ${enum}."`
	Rivers  []string `aliases:"river" help:"Only these rivers." placeholder:"NAME"`
	From    string   `help:"First day, e.g. 2026-06-30; the day of issue if not given." placeholder:"DATE"`
	To      string   `help:"Last day." placeholder:"DATE"`
	Out     string   `required:"" help:"Output file; it appears only once complete." placeholder:"FILE" type:"path"`
	Anew    bool     `help:"Issue new forecasts instead of exporting saved ones."`
	Issue   string   `name:"issue-date" help:"Issue forecasts as of noon local time on this date instead of exporting saved ones." placeholder:"DATE"`
	Members int      `default:"200" help:"Ensemble size of newly issued forecasts."`
}

func (c exportCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	var days [2]forecast.Date
	for i, s := range []string{c.From, c.To} {
		if s == "" {
			continue
		}
		t, err := civilDate(s, time.Time{})
		if err != nil {
			return app.Usagef("--%s: %w", []string{"from", "to"}[i], err)
		}
		days[i] = forecast.DateOf(t)
	}
	if days[1] != 0 && days[1] < days[0] {
		return app.Usagef("--to %s is before --from %s", c.To, c.From)
	}
	if c.Members < 10 || c.Members > 5000 {
		return app.Usagef("--members %d: use 10 to 5000", c.Members)
	}
	s := outlookSource{cfg: cfg, now: e.now(), date: c.Issue, opt: forecast.Options{Members: c.Members}}
	if s.catalogue, err = app.LoadCatalogue(cfg); err != nil {
		return app.Usage(err)
	}
	rivers, err := app.Rivers(cfg, c.Rivers)
	if err != nil {
		return app.Usage(err)
	}
	if err := s.open(e.ctx, !c.Anew && c.Issue == ""); err != nil {
		return err
	}
	defer s.close()
	meta := export.Meta{Title: "Emergence and egg-laying forecasts", Source: "eclose, model version " + forecast.ModelVersion, History: "eclose export", Notice: cfg.Notice}
	// Dated by the newest issue, not by the clock: the same outlooks give the
	// same bytes.
	kept := 0
	for _, r := range rivers {
		at, ok, err := s.issued(e.ctx, r)
		if err != nil {
			return err
		}
		if ok {
			kept++
		} else if at, err = app.IssueTime(r, s.date, s.now); err != nil {
			return app.Usage(err)
		}
		if at.After(meta.Created) {
			meta.Created = at
		}
	}
	n, err := export.WriteFile(c.Out, export.Format(c.Format), meta, s.rows(e.ctx, rivers, days[0], days[1]))
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stderr, "eclose: wrote %d rows for %d rivers to %s (%d saved forecasts, %d issued now)\n", n, len(rivers), c.Out, kept, len(rivers)-kept)
	return nil
}

// outlookSource gives outlooks as they were issued, or issues them where none was.
type outlookSource struct {
	cfg       *config.Config
	catalogue *insects.Catalogue
	now       time.Time
	date      string // of issue, "" for now
	opt       forecast.Options
	db        *db.DB // nil where none was ever made
	files     *series.Files
	store     *series.Store
	archive   *archive.Archive // nil where nothing was ever kept, or is wanted
}

func (s *outlookSource) open(ctx context.Context, kept bool) (err error) {
	if s.store, err = series.Open(ctx, s.cfg.StoreURL(), series.ReadOnly()); err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	if s.db, err = app.OpenReader(ctx, s.cfg); err == nil && s.db != nil && kept {
		s.files, err = series.OpenFiles(ctx, s.cfg.StoreURL())
		s.archive = archive.New(s.db, s.files)
	}
	if err != nil {
		s.close()
	}
	return err
}

// close lets everything go; all of it was only read.
func (s *outlookSource) close() {
	s.store.Close() //nolint:errcheck // it was only read
	if s.files != nil {
		s.files.Close() //nolint:errcheck // as above
	}
	if s.db != nil {
		s.db.Close() //nolint:errcheck // as above
	}
}

// issued says when the newest kept outlook of a river was issued.
func (s *outlookSource) issued(ctx context.Context, r forecast.River) (time.Time, bool, error) {
	if s.archive == nil {
		return time.Time{}, false, nil
	}
	h, err := s.archive.LatestHead(ctx, r.Slug, s.now)
	if errors.Is(err, archive.ErrNotFound) {
		return time.Time{}, false, nil
	}
	return h.Issued, err == nil, err
}

// outlook is the newest kept one, or one issued now.
func (s *outlookSource) outlook(ctx context.Context, r forecast.River) (*forecast.Outlook, error) {
	if s.archive != nil {
		o, err := s.archive.Latest(ctx, r.Slug, s.now)
		if err == nil || !errors.Is(err, archive.ErrNotFound) {
			return o, err
		}
	}
	at, err := app.IssueTime(r, s.date, s.now)
	if err != nil {
		return nil, err
	}
	opt := s.opt
	if s.db != nil {
		if opt.Sites, err = app.Sites(ctx, s.db, s.now); err != nil {
			return nil, err
		}
		if opt.Open, err = app.OpenRecords(ctx, s.db, s.cfg, s.now); err != nil {
			return nil, err
		}
	}
	if opt.Sightings, err = app.DiarySightings(ctx, s.db, s.cfg, s.now); err != nil {
		return nil, err
	}
	return forecast.Issue(ctx, s.store, r, s.catalogue, at, opt)
}

// rows streams the days of one river after another; one outlook is held at once.
func (s *outlookSource) rows(ctx context.Context, rivers []forecast.River, from, to forecast.Date) iter.Seq2[export.Row, error] {
	return func(yield func(export.Row, error) bool) {
		for _, r := range rivers {
			o, err := s.outlook(ctx, r)
			if err != nil {
				yield(export.Row{}, err)
				return
			}
			for row := range export.Flatten(o, from, to) {
				if !yield(row, nil) {
					return
				}
			}
		}
	}
}
