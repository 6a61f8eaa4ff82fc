package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

type calibrateCmd struct {
	River  string `arg:"" help:"The river, by its name in the config."`
	Config string `required:"" help:"The TOML file that names rivers and gauges." placeholder:"FILE"`
	Dry    bool   `help:"Only show what would be learnt; keep nothing."`
}

// Run turns the sightings of a river into its own parameters and keeps them as
// a new version; older versions stay.
func (c calibrateCmd) Run(e *env) (err error) {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return usageError{err}
	}
	catalogue, err := loadCatalogue(cfg)
	if err != nil {
		return usageError{err}
	}
	rivers, err := riversOf(cfg, []string{c.River})
	if err != nil {
		return usageError{err}
	}
	r := rivers[0]
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	d, err := db.OpenMigrated(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()

	sightings, err := (&diary.Store{DB: d, Now: e.now}).List(e.ctx, diary.Filter{River: r.Slug})
	if err != nil {
		return err
	}
	if len(sightings) == 0 {
		return fmt.Errorf("the diary holds no sighting of %s (%q); add some with eclose diary add --river %s, also of days when you saw nothing", r.Name, r.Slug, r.Slug)
	}
	rec, err := forecast.Gather(e.ctx, store, r, e.now())
	if err != nil {
		return err
	}
	lessons, err := rec.Learn(r, catalogue, sightings)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "%s: what %d sightings teach\n\n%-30s %6s %8s  %-23s %-23s %s\n", r.Name, len(sightings),
		"group", "seen", "seasons", "emergence before", "emergence after", "middle moves")
	for _, key := range slices.Sorted(maps.Keys(lessons)) {
		l := lessons[key]
		fmt.Fprintf(e.stdout, "%-30s %6d %8d  %-23s %-23s %s\n", strings.ReplaceAll(key, "-", " "), l.Sightings, l.Seasons, window(l.Before), window(l.After), movedWords(l.MovedDays))
	}
	if c.Dry {
		fmt.Fprintln(e.stdout, "\nNothing was kept.")
		return nil
	}
	body, err := json.Marshal(lessons)
	if err != nil {
		return fmt.Errorf("writing down what was learnt: %w", err)
	}
	version, err := db.AddCalibration(e.ctx, d.SQL, db.Calibration{River: r.Slug, Made: e.now(), ModelVersion: forecast.ModelVersion, Sightings: len(sightings), Body: string(body)})
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "\nKept as version %d; outlooks of %s use it from now on. Older versions stay.\n", version, r.Name)
	return nil
}

// window is three days of the year in words, of any ordinary year.
func window(doy [3]float64) string {
	day := func(x float64) string {
		return time.Date(2023, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(math.Round(x))).Format("2 Jan")
	}
	return day(doy[0]) + " - " + day(doy[1]) + " - " + day(doy[2])
}

func movedWords(days float64) string {
	switch n := math.Round(math.Abs(days)); {
	case n < 1:
		return "less than a day"
	case days < 0:
		return fmt.Sprintf("%.0f days earlier", n)
	default:
		return fmt.Sprintf("%.0f days later", n)
	}
}

// lessonsOf are the lessons that each river's diary had taught by a moment. A
// database that does not exist yet has taught nothing.
func lessonsOf(ctx context.Context, cfg *config.Config, rivers []forecast.River, at time.Time) (map[string]forecast.Lessons, error) {
	out := map[string]forecast.Lessons{}
	if path, local := strings.CutPrefix(cfg.DatabaseURL(), "sqlite://"); local {
		if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
			return out, nil
		}
	}
	d, err := db.OpenMigrated(ctx, cfg.DatabaseURL())
	if err != nil {
		return nil, fmt.Errorf("reading what the diary taught: %w", err)
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
