package sources

import (
	"slices"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/usgs"
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

// USGSSites lists the USGS gauges of a river, as their series name them.
func USGSSites(r config.River) (out []string) {
	for _, g := range r.Gauges {
		if site, err := Site(g); err == nil && g.Feed == usgs.FeedName && !slices.Contains(out, site) {
			out = append(out, site)
		}
	}
	return out
}
