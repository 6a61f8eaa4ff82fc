package work

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
)

// Calibrate turns what the diary of a river says by now into a new version of its
// figures, and has its outlook issued with them. Where the diary teaches what it
// taught before, no version is added.
func (h *Service) Calibrate(ctx context.Context, k jobs.Calibrate) error {
	r, err := h.river(k.River)
	if err != nil {
		return err
	}
	// The version must not be younger than the outlook that is to use it.
	now := jobs.Slot(h.Queue.Now())
	seen, err := (&diary.Store{DB: h.DB, Now: h.Queue.Now}).List(ctx, diary.Filter{River: r.Slug})
	if err != nil {
		return err
	}
	last, err := db.LatestCalibration(ctx, h.DB.SQL, r.Slug)
	if err != nil && !errors.Is(err, db.ErrNotFound) {
		return err
	}
	if len(seen) == 0 && last.Version == 0 {
		return nil
	}
	rec, err := forecast.Gather(ctx, h.Read, r, now)
	if err != nil {
		return err
	}
	calibrations, not, err := rec.Calibrate(r, h.Catalogue, seen)
	if err != nil {
		return jobs.Final{Err: err} // the same diary and readings would fail again
	}
	for _, x := range not {
		h.Log.Warn().Str("river", r.Slug).Str("group", x.Group).Int("sightings", x.Sightings).Msg("not calibrated: " + x.Why)
	}
	body, err := json.Marshal(calibrations)
	if err != nil {
		return fmt.Errorf("saving the calibration: %w", err)
	}
	return h.DB.Tx(ctx, func(tx *db.Tx) error {
		if string(body) != last.Body {
			c := db.Calibration{River: r.Slug, Made: now, ModelVersion: forecast.ModelVersion, Sightings: calibrations.Sightings(), Body: string(body)}
			if _, err := db.AddCalibration(ctx, tx, c); err != nil {
				return err
			}
		}
		_, err := h.Queue.AddTx(ctx, tx, jobs.Outlook{River: r.Slug, Issue: now})
		return err
	})
}
