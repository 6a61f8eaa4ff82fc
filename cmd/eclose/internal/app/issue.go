package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// IssueAll makes the outlook of each river that is asked for.
func IssueAll(ctx context.Context, cfg *config.Config, only []string, date string, now time.Time, members int) ([]*forecast.Outlook, error) {
	catalogue, err := LoadCatalogue(cfg)
	if err != nil {
		return nil, Usage(err)
	}
	rivers, err := Rivers(cfg, only)
	if err != nil {
		return nil, Usage(err)
	}
	at := make([]time.Time, len(rivers))
	for i, r := range rivers {
		if at[i], err = IssueTime(r, date, now); err != nil {
			return nil, Usage(err)
		}
	}
	var lessons map[string]forecast.Calibrations
	if err := Read(ctx, cfg, func(d *db.DB) error {
		lessons, err = Calibrations(ctx, d, rivers, slices.MinFunc(at, time.Time.Compare))
		return err
	}); err != nil {
		return nil, err
	}
	store, err := series.Open(ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return nil, fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	var out []*forecast.Outlook
	for i, r := range rivers {
		o, err := forecast.Issue(ctx, store, r, catalogue, at[i], forecast.Options{Members: members, Posterior: lessons[r.Slug].Apply})
		if err != nil {
			return nil, err
		}
		out = append(out, o)
	}
	return out, nil
}

// Calibrations are what each river's diary had taught by a moment. A nil
// database has taught nothing.
func Calibrations(ctx context.Context, d *db.DB, rivers []forecast.River, at time.Time) (map[string]forecast.Calibrations, error) {
	out := map[string]forecast.Calibrations{}
	if d == nil {
		return out, nil
	}
	for _, r := range rivers {
		l, err := forecast.CalibrationsAsOf(ctx, d.SQL, r.Slug, at)
		if err != nil {
			return nil, fmt.Errorf("reading the calibration: %w", err)
		}
		out[r.Slug] = l
	}
	return out, nil
}

// Read runs do on the database of a config, opened to read: it works while a
// server writes. Where no database was ever made do gets nil, and none is made.
func Read(ctx context.Context, cfg *config.Config, do func(*db.DB) error) (err error) {
	d, err := OpenReader(ctx, cfg)
	if err != nil {
		return err
	}
	if d != nil {
		defer func() { err = errors.Join(err, d.Close()) }()
	}
	return do(d)
}

// OpenReader is Read for a command that closes the database itself.
func OpenReader(ctx context.Context, cfg *config.Config) (*db.DB, error) {
	d, err := db.OpenReader(ctx, cfg.DatabaseURL())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return d, err
}

// PastFlows reads the daily flows of a river up to a moment, and from which
// flows on it asks for caution; nil where no flow is stored.
func PastFlows(ctx context.Context, store forecast.Reader, r forecast.River, at time.Time) (*trip.Flows, wading.Caution, error) {
	rec, err := forecast.Gather(ctx, store, r, at)
	if err != nil {
		return nil, wading.Caution{}, err
	}
	in, err := forecast.CautionInput(ctx, store, r, at)
	if err != nil {
		return nil, wading.Caution{}, err
	}
	caution := wading.Assess(in)
	for _, v := range rec.Flow {
		if v == v { // not NaN
			return &trip.Flows{Day0: rec.Day0, M3s: rec.Flow, Limits: caution.Limits}, caution, nil
		}
	}
	return nil, caution, nil
}
