package work

import (
	"context"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/db"
)

// Calibrate has the forecasts of a river, and of those near by that its sightings
// may move, issued again with what the diary says by now.
func (h *Service) Calibrate(ctx context.Context, k jobs.Calibrate) error {
	r, err := h.river(k.River)
	if err != nil {
		return err
	}
	now := jobs.Slot(h.Queue.Now())
	return h.DB.Tx(ctx, func(tx *db.Tx) error {
		for _, o := range h.Rivers {
			if o.Slug != r.Slug && !forecast.Shares(r, o) {
				continue
			}
			if _, err := h.Queue.AddTx(ctx, tx, jobs.Outlook{River: o.Slug, Issue: now}); err != nil {
				return err
			}
		}
		return nil
	})
}

// sites are the rivers of neighbouring installations.
func (h *Service) sites(ctx context.Context) ([]forecast.River, error) {
	all, err := (&diary.Store{DB: h.DB, Now: h.Queue.Now}).Neighbours(ctx)
	if err != nil {
		return nil, err
	}
	return forecast.SitesOf(all), nil
}

// open are the open records around all rivers; nil: there are none. They are read
// again after a while: what another process fetched is found out then.
func (h *Service) open(ctx context.Context) (*records.Open, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	now := h.Queue.Now()
	if !h.openAt.IsZero() && now.Sub(h.openAt) < openFor && !now.Before(h.openAt) {
		return h.opened, nil
	}
	o, err := forecast.OpenRecords(ctx, &records.Store{DB: h.DB, Now: h.Queue.Now}, h.Rivers)
	if err == nil {
		h.opened, h.openAt = o, now
	}
	return o, err
}

// openFor is how long open records are kept in memory. Our own default.
const openFor = 10 * time.Minute

// sightings are those of all rivers of the config.
func (h *Service) sightings(ctx context.Context) ([]forecast.Sighting, error) {
	all, err := (&diary.Store{DB: h.DB, Now: h.Queue.Now}).List(ctx, diary.Filter{})
	if err != nil {
		return nil, err
	}
	return forecast.SightingsOf(all), nil
}
