package main

import (
	"fmt"
	"slices"
	"text/tabwriter"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/series"
)

// scoreFlow prints how the public forecasts of flow did at the rivers' gauges over the
// last three months. It prints nothing where none was kept.
func scoreFlow(e *env, cfg *config.Config, rivers []forecast.River) error {
	if !slices.ContainsFunc(rivers, func(r forecast.River) bool { return len(r.FlowAhead) > 0 }) {
		return nil
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return err
	}
	defer store.Close() //nolint:errcheck // it was only read
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	found := false
	for _, r := range rivers {
		if len(r.FlowAhead) == 0 {
			continue
		}
		r.Near = nil
		rec, err := forecast.Gather(e.ctx, store, r, e.now())
		if err != nil {
			return err
		}
		for _, s := range rec.Reaches() {
			for _, x := range s.Scores {
				if !found {
					fmt.Fprintln(w, "Flow forecasts\tservice\tdays ahead\twithin 20%\tforecast/measured, median")
					found = true
				}
				fmt.Fprintf(w, "%s\t%s\t%d\t%d of %d days\t%.2f\n", r.Slug, s.Name, x.Lead, x.Within, x.Of, x.Ratio)
			}
		}
	}
	if err := w.Flush(); err != nil || !found {
		return err
	}
	fmt.Fprintln(e.stdout)
	return nil
}
