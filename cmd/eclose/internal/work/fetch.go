package work

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/schedule"
)

// Fetch asks one feed for one river and records how that went. New readings
// make the river be weighed, in the transaction that records them.
func (h *Service) Fetch(ctx context.Context, f jobs.Fetch) error {
	store := h.store()
	if store == nil {
		return jobs.RetryLater{After: 5 * time.Second, Why: "another process holds the series store"}
	}
	place, err := h.tasksOf(f.River)
	if err != nil {
		return err
	}
	now := h.Queue.Now
	in := schedule.Intake{Store: store, Now: now, Backfill: h.Backfill, Overlap: h.Overlap, Climates: &h.climates, Feed: f.Feed}
	var lines []string
	in.OnChecked = func(_ string, s qc.Summary) {
		lines = append(lines, s.String())
		if s.LooksLike != "" {
			h.Log.Warn().Str("river", f.River).Str("series", s.Key.String()).Msg(s.LooksLike)
		}
	}
	outcomes, err := in.Run(ctx, []schedule.RiverTasks{place})
	if err != nil {
		return err
	}
	for _, o := range outcomes {
		for _, s := range h.LeftOut.Take(o.Site) {
			s.Site = "" // the job names it
			lines = append(lines, s.String())
		}
	}
	jobs.Report(ctx, lines)
	if f.Feed == usgs.FeedName {
		if err := h.floodStages(ctx, place); err != nil {
			return err
		}
	}
	if r, ok := h.Read.(*Reader); ok {
		for _, o := range outcomes {
			r.Added(o.Keys...)
		}
	}
	var failed []error
	answered, due := false, false
	for _, o := range outcomes {
		failed = append(failed, o.Err)
		answered = answered || len(o.Keys) > 0
	}
	err = h.DB.Tx(ctx, func(tx *db.Tx) error {
		if err := record(ctx, tx, outcomes, now()); err != nil {
			return err
		}
		if !answered {
			return nil
		}
		follow := []jobs.Args{jobs.Alerts{River: f.River, Cause: f.Slot}}
		first, err := h.first(ctx, tx, place)
		if err != nil {
			return err
		}
		if first {
			if _, begun := h.begun.LoadOrStore(f.River, true); !begun {
				due = true
				follow = append(follow, jobs.Outlook{River: f.River, Issue: jobs.Slot(now())})
			}
		}
		_, err = h.Queue.AddTx(ctx, tx, follow...)
		return err
	})
	if due && err != nil {
		h.begun.Delete(f.River)
	}
	return errors.Join(err, worst(failed))
}

// first says whether a river is ready for its first outlook: each of its feeds
// has answered, and none was issued yet; one in the queue is begun. Whoever adds a river need not wait for
// the next slot.
func (h *Service) first(ctx context.Context, q db.Querier, p schedule.RiverTasks) (bool, error) {
	_, err := db.LatestOutlook(ctx, q, p.Name, h.Queue.Now())
	if !errors.Is(err, db.ErrNotFound) {
		return false, err
	}
	for _, t := range p.Tasks {
		if t.Optional {
			continue
		}
		s, err := db.GetFeedState(ctx, q, t.Source.Name(), site(t))
		if errors.Is(err, db.ErrNotFound) || err == nil && s.Answered.IsZero() {
			return false, nil
		}
		if err != nil {
			return false, err
		}
	}
	return true, nil
}

// site is how the outcome of a task names where it asked.
func site(t schedule.Task) string {
	if t.Request.Site != "" {
		return t.Request.Site
	}
	return fmt.Sprintf("%g,%g", t.Request.Lat, t.Request.Lon)
}

// worst is the failure that decides whether to ask again: one that may pass, if
// there is one.
func worst(all []error) error {
	var first error
	for _, err := range all {
		if err == nil {
			continue
		}
		if again, _ := ingest.Retryable(err); again {
			return err
		}
		if first == nil {
			first = err
		}
	}
	return first
}

// record notes for each site how the last question ended.
func record(ctx context.Context, q db.Querier, outcomes []schedule.Outcome, now time.Time) error {
	states := map[[2]string]db.FeedState{}
	for _, o := range outcomes {
		id := [2]string{o.Feed, o.Site}
		s, seen := states[id]
		if !seen {
			var err error
			s, err = db.GetFeedState(ctx, q, o.Feed, o.Site)
			if err != nil && !errors.Is(err, db.ErrNotFound) {
				return err
			}
			s.Feed, s.Item, s.Tried, s.LastError = o.Feed, o.Site, now, ""
		}
		if o.Err != nil {
			if s.LastError == "" {
				s.Failures++
			}
			s.LastError = o.Err.Error()
		}
		// A forecast's newest value lies ahead: it says nothing of freshness.
		if o.Newest.After(s.Newest) && !o.Newest.After(now) {
			s.Newest = o.Newest
		}
		states[id] = s
	}
	for _, s := range states {
		if s.LastError == "" {
			s.Answered, s.Failures = now, 0
		}
		if err := db.PutFeedState(ctx, q, s); err != nil {
			return fmt.Errorf("after a fetch: %w", err)
		}
	}
	return nil
}
