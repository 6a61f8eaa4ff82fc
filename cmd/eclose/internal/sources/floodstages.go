package sources

import (
	"slices"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/ingest/schedule"
)

// FloodStages is the service that knows the flood stages of USGS gauges; nil
// where it is not to be asked: switched off, or the gauges come from another
// server than the USGS's own, whose numbers may mean other gauges.
func FloodStages(cfg *config.Config, c *client.Client) *nwps.Source {
	f := cfg.Feeds[nwps.FeedName]
	if f.Enabled != nil && !*f.Enabled || f.BaseURL == "" && cfg.Feeds[usgs.FeedName].BaseURL != "" {
		return nil
	}
	return &nwps.Source{Client: c, BaseURL: f.BaseURL}
}

// FlowForecasts reports whether the config asks for the service's forecasts of
// flow.
func FlowForecasts(cfg *config.Config) bool {
	on := cfg.Feeds[nwps.FeedName].Enabled
	return on != nil && *on && FloodStages(cfg, nil) != nil
}

// flowAhead is the task that fetches forecasts of flow for a USGS gauge; ok is
// false where the config does not ask for them.
func (b Builder) flowAhead(site string) (t schedule.Task, ok bool) {
	if !FlowForecasts(b.Config) {
		return t, false
	}
	s := FloodStages(b.Config, b.Client)
	s.Now, s.Skipped = b.Now, b.Skipped
	return schedule.Task{Source: s, Request: ingest.Request{Site: site, Variables: []ingest.Variable{ingest.Discharge, ingest.GaugeHeight}}, Ahead: true, Optional: true}, true
}

// USGSSites lists the USGS gauges of a river, as their series name them.
func USGSSites(r config.River) (out []string) {
	for _, g := range r.Gauges {
		if site, err := Site(g); err == nil && g.Feed == usgs.FeedName && !slices.Contains(out, site) {
			out = append(out, site)
		}
	}
	return out
}
