package main

import (
	"fmt"
	"slices"
	"text/tabwriter"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/series"
)

// flowScore is how one service did at one gauge.
type flowScore struct {
	River   string  `json:"river"`
	Service string  `json:"service"`
	Lead    int     `json:"days_ahead"`
	Within  int     `json:"days_within_20_percent"`
	Of      int     `json:"days"`
	Ratio   float64 `json:"forecast_to_measured_median"`
}

// flowScores judges the public forecasts of flow at the rivers' gauges over the last
// three months. There are none where none was kept.
func flowScores(e *env, cfg *config.Config, rivers []forecast.River) (out []flowScore, err error) {
	if !slices.ContainsFunc(rivers, func(r forecast.River) bool { return len(r.FlowAhead) > 0 }) {
		return nil, nil
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return nil, err
	}
	defer store.Close() //nolint:errcheck // it was only read
	for _, r := range rivers {
		if len(r.FlowAhead) == 0 {
			continue
		}
		r.Near = nil
		rec, err := forecast.Gather(e.ctx, store, r, e.now())
		if err != nil {
			return nil, err
		}
		for _, s := range rec.Reaches() {
			for _, x := range s.Scores {
				out = append(out, flowScore{r.Slug, s.Name, x.Lead, x.Within, x.Of, x.Ratio})
			}
		}
	}
	return out, nil
}

func printFlowScores(e *env, scores []flowScore) error {
	if len(scores) == 0 {
		return nil
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "Flow forecasts\tservice\tdays ahead\twithin 20%\tforecast/measured, median")
	for _, x := range scores {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d of %d days\t%.2f\n", x.River, x.Service, x.Lead, x.Within, x.Of, x.Ratio)
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing scores: %w", err)
	}
	fmt.Fprintln(e.stdout)
	return nil
}
