package work

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/warning"
)

// Warn asks for the official warnings of one river, keeps what came or that
// nothing did, and has the river weighed where that changes what is known.
func (h *Service) Warn(ctx context.Context, k jobs.Warnings) error {
	if h.store() == nil {
		return jobs.RetryLater{After: 5 * time.Second, Why: "another process holds the series store"}
	}
	for _, w := range h.Warned {
		if w.River != k.River {
			continue
		}
		now := h.Queue.Now
		got, err := warning.Renew(ctx, h.Files, w.River, w.Source, w.Place, now)
		if err != nil {
			return err
		}
		err = h.DB.Tx(ctx, func(tx *db.Tx) error {
			if err := recordWarnings(ctx, tx, w.River, got.Now); err != nil || !got.Changed(now()) {
				return err
			}
			_, err := h.Queue.AddTx(ctx, tx, jobs.Alerts{River: w.River, Cause: k.Slot, Warning: true})
			return err
		})
		if got.Failed != nil {
			// The record says so, and the next slot asks again: a job that is tried
			// again and again would only pile up.
			h.Log.Warn().Str("river", w.River).Msg(got.Failed.Error())
		}
		return err
	}
	return jobs.Final{Err: fmt.Errorf("river %q has no warnings feed in the config", k.River)}
}

// recordWarnings notes how the last question ended, beside those of the other
// feeds.
func recordWarnings(ctx context.Context, q db.Querier, river string, r warning.Record) error {
	id := "warnings of " + river
	s, err := db.GetFeedState(ctx, q, r.Feed, id)
	if err != nil && !errors.Is(err, db.ErrNotFound) {
		return err
	}
	s.Feed, s.Item, s.Tried, s.Answered, s.Newest, s.LastError = r.Feed, id, r.Tried, r.Fetched, r.Fetched, r.Problem
	if s.Failures++; r.Problem == "" {
		s.Failures = 0
	}
	return db.PutFeedState(ctx, q, s)
}
