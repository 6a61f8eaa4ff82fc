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
	"example.org/eclose/model/wading"
)

// outlookSource gives outlooks as they were issued, or issues them where none was.
type outlookSource struct {
	cfg       *config.Config
	catalogue *insects.Catalogue
	now       time.Time
	date      string    // of issue, "" for now
	since     time.Time // of the first kept outlook; zero for the newest only
	members   bool      // wanted beside the outlooks, which must be new
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

// issued says when the newest kept outlook of a river was issued, and how many
// there are to export; 0 if none is kept.
func (s *outlookSource) issued(ctx context.Context, r forecast.River) (newest time.Time, n int, err error) {
	heads, err := s.heads(ctx, r)
	if err != nil || len(heads) == 0 {
		return time.Time{}, 0, err
	}
	return heads[len(heads)-1].Issued, len(heads), nil
}

// heads lists the kept outlooks of a river that are wanted, oldest first.
func (s *outlookSource) heads(ctx context.Context, r forecast.River) ([]archive.Head, error) {
	if s.archive == nil {
		return nil, nil
	}
	if !s.since.IsZero() {
		return s.archive.List(ctx, r.Slug, s.since, s.now)
	}
	newest, err := s.archive.LatestIssue(ctx, r.Slug, s.now)
	if errors.Is(err, archive.ErrNotFound) {
		return nil, nil
	}
	return []archive.Head{{River: newest.River, Issued: newest.Issued, ModelVersion: newest.ModelVersion}}, err
}

// issuedOutlook is an outlook with what is known beside it.
type issuedOutlook struct {
	o       *forecast.Outlook
	members *forecast.Ensemble
	beside  export.Conditions
}

// all goes through the outlooks of one river after another; one is held at once.
func (s *outlookSource) all(ctx context.Context, rivers []forecast.River) iter.Seq2[issuedOutlook, error] {
	return func(yield func(issuedOutlook, error) bool) {
		for _, r := range rivers {
			for x, err := range s.of(ctx, r) {
				if !yield(x, err) || err != nil {
					return
				}
			}
		}
	}
}

// of goes through the outlooks of a river: those that were kept, or one issued now.
func (s *outlookSource) of(ctx context.Context, r forecast.River) iter.Seq2[issuedOutlook, error] {
	return func(yield func(issuedOutlook, error) bool) {
		heads, err := s.heads(ctx, r)
		if err != nil {
			yield(issuedOutlook{}, err)
			return
		}
		if len(heads) == 0 {
			x, err := s.issue(ctx, r)
			if err == nil {
				x.beside, err = s.beside(ctx, r, x.o)
			}
			yield(x, err)
			return
		}
		var beside export.Conditions
		for i, h := range heads {
			o, err := s.archive.Load(ctx, h.River, h.Issued, h.ModelVersion)
			if err == nil && i == 0 { // the oldest wants the most
				beside, err = s.beside(ctx, r, o)
			}
			if !yield(issuedOutlook{o: o, beside: beside}, err) || err != nil {
				return
			}
		}
	}
}

func (s *outlookSource) issue(ctx context.Context, r forecast.River) (x issuedOutlook, err error) {
	at, err := app.IssueTime(r, s.date, s.now)
	if err != nil {
		return x, err
	}
	opt := s.opt
	if s.members {
		x.members = &forecast.Ensemble{}
		opt.Ensemble = x.members
	}
	if s.db != nil {
		if opt.Sites, err = app.Sites(ctx, s.db, s.now); err != nil {
			return x, err
		}
		if opt.Open, err = app.OpenRecords(ctx, s.db, s.cfg, s.now); err != nil {
			return x, err
		}
	}
	if opt.Sightings, err = app.DiarySightings(ctx, s.db, s.cfg, s.now); err != nil {
		return x, err
	}
	x.o, err = forecast.Issue(ctx, s.store, r, s.catalogue, at, opt)
	return x, err
}

// beside gathers the caution of the moment and, where days of the outlook are over,
// what was measured on them. An outlook made for a past date has the caution of
// that date.
func (s *outlookSource) beside(ctx context.Context, r forecast.River, o *forecast.Outlook) (b export.Conditions, err error) {
	at := s.now
	if s.date != "" {
		at = o.IssuedAt
	}
	in, err := forecast.CautionInput(ctx, s.store, r, at)
	if err != nil {
		return b, err
	}
	b.Caution = wading.Assess(in)
	if today := forecast.DateOf(s.now.In(forecast.ZoneOf(r.Zone))); today > o.IssueDate() {
		r.Near = nil // no water model is wanted
		b.Known, err = forecast.Gather(ctx, s.store, r, s.now)
	}
	return b, err
}

// observations goes through what is known of one river after another, from a day,
// or the first day of its forecast's water, to a day.
func (s *outlookSource) observations(ctx context.Context, rivers []forecast.River, from, to forecast.Date) iter.Seq2[export.Observation, error] {
	return func(yield func(export.Observation, error) bool) {
		sightings, err := app.DiarySightings(ctx, s.db, s.cfg, s.now)
		if err != nil {
			yield(export.Observation{}, err)
			return
		}
		for _, r := range rivers {
			first := from
			if first == 0 {
				if first, err = s.yearStart(ctx, r); err != nil {
					yield(export.Observation{}, err)
					return
				}
			}
			r.Near = nil // no water model is wanted
			rec, err := forecast.Gather(ctx, s.store, r, s.now)
			if err != nil {
				yield(export.Observation{}, err)
				return
			}
			for x := range export.Observed(r.Slug, rec, sightings, first, to) {
				if !yield(x, nil) {
					return
				}
			}
		}
	}
}

// yearStart is the first day of the season-year of a river's newest outlook.
func (s *outlookSource) yearStart(ctx context.Context, r forecast.River) (forecast.Date, error) {
	at, n, err := s.issued(ctx, r)
	if err == nil && n == 0 {
		at, err = app.IssueTime(r, s.date, s.now)
	}
	return (&forecast.Outlook{IssuedAt: at, Zone: r.Zone, Lat: r.Lat}).YearStart(), err
}

// withCautions puts the caution of its issue beside each outlook, in the order of the
// rivers.
func withCautions(ctx context.Context, store forecast.Reader, rivers []forecast.River, each iter.Seq2[*forecast.Outlook, error]) iter.Seq2[issuedOutlook, error] {
	return func(yield func(issuedOutlook, error) bool) {
		i := 0
		for o, err := range each {
			x := issuedOutlook{o: o}
			if err == nil {
				var in wading.Input
				in, err = forecast.CautionInput(ctx, store, rivers[i], o.IssuedAt)
				x.beside.Caution = wading.Assess(in)
			}
			if !yield(x, err) || err != nil {
				return
			}
			i++
		}
	}
}
