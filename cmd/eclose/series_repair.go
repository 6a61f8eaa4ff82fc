package main

import (
	"errors"
	"fmt"
	"slices"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
)

type seriesRepairCmd struct{ configFlag }

// Run puts damaged files aside and fetches their feeds again, from the first
// year on: what is there already does not change.
func (c seriesRepairCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	s, err := series.Open(e.ctx, cfg.StoreURL())
	if errors.Is(err, series.ErrInUse) {
		return fmt.Errorf("%w; stop eclose serve for the repair", err)
	}
	if err != nil {
		return err
	}
	repaired, err := s.Repair(e.ctx)
	if err = errors.Join(err, s.Close()); err != nil {
		return err
	}
	if len(repaired) == 0 {
		fmt.Fprintln(e.stdout, "nothing is damaged")
		return nil
	}
	var feeds []string
	for _, r := range repaired {
		to := "it was missing"
		if r.Aside != "" {
			to = "now " + r.Aside
			if r.Parts > 0 {
				to += fmt.Sprintf(", with %d files of readings", r.Parts)
			}
		}
		fmt.Fprintf(e.stdout, "%s: %s; %s\n", r.File, r.Reason, to)
		if !slices.Contains(feeds, r.Feed) {
			feeds = append(feeds, r.Feed)
		}
	}
	failed := 0
	for _, feed := range feeds {
		outcomes, err := app.Ingest(e.ctx, cfg, app.Options{Now: e.now, Sleep: e.sleep}, func(in *schedule.Intake) {
			in.Feed, in.Refetch = feed, true
			in.OnOutcome = func(o schedule.Outcome) { printOutcome(e.stdout, o) }
		})
		if err != nil {
			return err
		}
		for _, o := range outcomes {
			if o.Err != nil {
				failed++
			}
		}
	}
	if failed > 0 {
		return fmt.Errorf("%d requests failed; the damaged files are put aside: run eclose ingest --refetch later", failed)
	}
	return nil
}
