package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
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
	"example.org/eclose/model/insects"
)

type calibrateCmd struct {
	River string `arg:"" help:"River name or slug from the config."`
	configFlag
	Dry      bool `help:"Show the result without saving it."`
	Versions bool `help:"List saved calibrations."`
}

// Run turns the sightings of a river into its own parameters and keeps them as
// a new version; older versions stay.
func (c calibrateCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
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
	d, err := db.OpenMigrated(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	if c.Versions {
		return printVersions(e, d, r)
	}
	sightings, err := (&diary.Store{DB: d, Now: e.now}).List(e.ctx, diary.Filter{River: r.Slug})
	if err != nil {
		return err
	}
	if len(sightings) == 0 {
		return fmt.Errorf("no sightings recorded for %s (%q); add some, including blank sessions: eclose diary add --river %s", r.Name, r.Slug, r.Slug)
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	rec, err := forecast.Gather(e.ctx, store, r, e.now())
	if err != nil {
		return err
	}
	calibrations, not, err := rec.Calibrate(r, catalogue, sightings)
	if err != nil {
		return err
	}
	for _, x := range not {
		fmt.Fprintf(e.stderr, "eclose: %q (%s) not used: %s; check the name with 'eclose group find %q', then correct it with 'eclose diary add --revise ID'\n",
			x.Group, count(x.Sightings, "sighting"), x.Why, x.Group)
	}
	if len(calibrations) == 0 {
		return fmt.Errorf("nothing to calibrate for %s: no sighting names a group that occurs there", r.Name)
	}
	printCalibrations(e.stdout, r.Name, calibrations)
	if c.Dry {
		fmt.Fprintln(e.stdout, "\nNot saved.")
		return nil
	}
	body, err := json.Marshal(calibrations)
	if err != nil {
		return fmt.Errorf("saving the calibration: %w", err)
	}
	version, err := db.AddCalibration(e.ctx, d.SQL, db.Calibration{River: r.Slug, Made: e.now(), ModelVersion: forecast.ModelVersion, Sightings: calibrations.Sightings(), Body: string(body)})
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "\nSaved as version %d. New forecasts for %s will use it; forecasts for past dates will not.\nList earlier versions with --versions.\n", version, r.Name)
	return nil
}

// printCalibrations says by how much each group's windows moved.
func printCalibrations(w io.Writer, river string, calibrations forecast.Calibrations) {
	fmt.Fprintf(w, "%s: %s\n\n", river, count(calibrations.Sightings(), "sighting")+" used")
	fmt.Fprintf(w, "%-30s%-12s%-22s%s\n  %-26s%-26s%s\n%s\n", "group", "stage", "watched for", "median shift", "start", "peak", "end", strings.Repeat("-", 80))
	for _, key := range slices.Sorted(maps.Keys(calibrations)) {
		l := calibrations[key]
		for _, s := range l.Shifts {
			watched := count(s.Sightings, "time") + ", " + count(l.Seasons, "season")
			fmt.Fprintf(w, "%-30s%-12s%-22s%s\n", insects.Label(key), s.Stage, watched, movedWords(l.MovedDays))
			var cells [3]string
			for i := range cells {
				cells[i] = dayWords(s.Before[i]) + " -> " + dayWords(s.After[i])
			}
			fmt.Fprintf(w, "  %-26s%-26s%s\n", cells[0], cells[1], cells[2])
		}
	}
	fmt.Fprint(w, "\nstart, peak, end: dates by which 10, 50 and 90% of activity had passed in the seasons\nobserved, before and after calibration. Sightings of emergence also shift the\negg-laying dates, and the other way round.\n")
}

// printVersions lists what was learnt of a river at what time.
func printVersions(e *env, d *db.DB, r forecast.River) error {
	all, err := db.Calibrations(e.ctx, d.SQL, r.Slug)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		fmt.Fprintf(e.stdout, "No calibration saved for %s.\n", r.Name)
	}
	for _, v := range all {
		l, err := forecast.DecodeCalibrations(v)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "version %d, %s, from %s:\n", v.Version, v.Made.UTC().Format("2 Jan 2006 15:04 UTC"), count(v.Sightings, "sighting"))
		for _, key := range slices.Sorted(maps.Keys(l)) {
			fmt.Fprintf(e.stdout, "  %-30s%s\n", insects.Label(key), movedWords(l[key].MovedDays))
		}
	}
	return nil
}

// dayWords is a time in days from 1 January as a date of any ordinary year.
func dayWords(x float64) string {
	return time.Date(2023, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(math.Floor(x))).Format("2 Jan")
}

func movedWords(days float64) string {
	n := int(math.Round(math.Abs(days)))
	switch {
	case n == 0:
		return "less than a day"
	case days < 0:
		return count(n, "day") + " earlier"
	default:
		return count(n, "day") + " later"
	}
}

// count is a number with its noun.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// calibrationsOf are the lessons that each river's diary had taught by a moment. A
// database that does not exist yet has taught nothing.
func calibrationsOf(ctx context.Context, cfg *config.Config, rivers []forecast.River, at time.Time) (map[string]forecast.Calibrations, error) {
	out := map[string]forecast.Calibrations{}
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
		l, err := forecast.CalibrationsAsOf(ctx, d.SQL, r.Slug, at)
		if err != nil {
			return nil, err
		}
		out[r.Slug] = l
	}
	return out, nil
}
