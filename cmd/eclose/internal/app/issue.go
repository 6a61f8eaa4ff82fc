package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
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
	lessons, err := Calibrations(ctx, cfg, rivers, slices.MinFunc(at, time.Time.Compare))
	if err != nil {
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

// Calibrations are the lessons that each river's diary had taught by a moment. A
// database that does not exist yet has taught nothing.
func Calibrations(ctx context.Context, cfg *config.Config, rivers []forecast.River, at time.Time) (map[string]forecast.Lessons, error) {
	out := map[string]forecast.Lessons{}
	if path, local := strings.CutPrefix(cfg.DatabaseURL(), "sqlite://"); local {
		if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
			return out, nil
		}
	}
	d, err := db.OpenMigrated(ctx, cfg.DatabaseURL())
	if err != nil {
		return nil, fmt.Errorf("reading the calibration: %w", err)
	}
	defer d.Close() //nolint:errcheck // it was only read
	for _, r := range rivers {
		l, err := forecast.LessonsAsOf(ctx, d.SQL, r.Slug, at)
		if err != nil {
			return nil, err
		}
		out[r.Slug] = l
	}
	return out, nil
}

// HasDatabase tells whether the database of a config was ever made, so that
// reading makes none.
func HasDatabase(cfg *config.Config) bool {
	path, local := strings.CutPrefix(cfg.DatabaseURL(), "sqlite://")
	if !local {
		return true
	}
	_, err := os.Stat(filepath.FromSlash(path))
	return !errors.Is(err, fs.ErrNotExist)
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
