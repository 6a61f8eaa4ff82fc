package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
)

// FetchByServer has the server that holds the store fetch all feeds now, waits
// until it has, and prints what became of each river and feed. asked is false
// where no server holds the database.
func FetchByServer(ctx context.Context, cfg *config.Config, now func() time.Time, out io.Writer) (asked bool, err error) {
	if !db.Served(cfg.DatabaseURL()) {
		return false, nil
	}
	d, err := db.OpenWriter(ctx, cfg.DatabaseURL())
	if err != nil {
		return true, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	q, err := jobs.Open(ctx, d, jobs.Options{Log: zerolog.Nop(), Now: now})
	if err != nil {
		return true, err
	}
	slot := jobs.Slot(q.Now())
	var all []jobs.Args
	for _, r := range cfg.Rivers {
		seen := map[string]bool{}
		add := func(feed string) {
			if !seen[feed] {
				seen[feed] = true
				all = append(all, jobs.Fetch{River: r.Slug, Feed: feed, Slot: slot})
			}
		}
		if r.Weather != nil {
			add(r.Weather.Feed)
		}
		for _, g := range r.Gauges {
			add(g.Feed)
		}
	}
	if _, err := q.Add(ctx, all...); err != nil {
		return true, err
	}
	fmt.Fprintln(out, "The running eclose fetches:")
	return true, watchFetches(ctx, q, slot, len(all), out)
}

// fetchLook is how often the jobs of another process are looked at.
const fetchLook = 500 * time.Millisecond

func watchFetches(ctx context.Context, q *jobs.Queue, slot time.Time, n int, out io.Writer) error {
	reported := map[int64]bool{}
	failed := 0
	for {
		list, err := q.List(ctx, jobs.Filter{Kinds: []string{jobs.Fetch{}.Kind()}, Most: 10_000})
		if err != nil {
			return err
		}
		for _, j := range list {
			var f jobs.Fetch
			if err := json.Unmarshal([]byte(j.Keys), &f); err != nil {
				return fmt.Errorf("reading the keys of job %d: %w", j.ID, err)
			}
			if reported[j.ID] || !f.Slot.Equal(slot) || len(j.Errors) == 0 && j.Ended.IsZero() {
				continue
			}
			reported[j.ID] = true
			says := "fetched"
			if k := len(j.Errors); k > 0 {
				says = "failed: " + OneLine(j.Errors[k-1].Error, 200)
				failed++
			}
			fmt.Fprintf(out, "%-14s %-11s %s\n", f.River, f.Feed, says)
			for _, line := range j.Report {
				fmt.Fprintf(out, "%-14s %-11s %s\n", f.River, f.Feed, line)
			}
		}
		if len(reported) >= n {
			break
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(fetchLook):
		}
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d fetches failed; stored data unchanged", failed, n)
	}
	return nil
}
