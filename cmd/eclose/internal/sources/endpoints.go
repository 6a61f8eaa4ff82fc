package sources

import (
	"cmp"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest/feed/eahydrology"
	"example.org/eclose/ingest/feed/eccc"
	"example.org/eclose/ingest/feed/ghcn"
	"example.org/eclose/ingest/feed/nws"
	"example.org/eclose/ingest/feed/openmeteo"
	"example.org/eclose/ingest/feed/usgs"
)

// Endpoint is a server that a feed of the config asks.
type Endpoint struct{ Feed, URL string }

// Endpoints lists the servers that the rivers of a config need, each once.
// Feeds that read files have none.
func Endpoints(c *config.Config) []Endpoint {
	var out []Endpoint
	add := func(name string, urls ...string) {
		f := c.Feeds[name]
		for i, u := range urls {
			u = cmp.Or([]string{f.BaseURL, cmp.Or(f.Archive, f.BaseURL), cmp.Or(f.Ensemble, f.BaseURL)}[i], u)
			u, _, _ = strings.Cut(u, "{") // of a request with parts to fill in, the server
			u, _, _ = strings.Cut(u, "?")
			if e := (Endpoint{name, u}); u != "" && !slices.Contains(out, e) {
				out = append(out, e)
			}
		}
	}
	for _, r := range c.Rivers {
		if name, _, _ := c.WarningsOf(r); name != "" {
			f, _ := warningFeed(name)
			if e := (Endpoint{name, cmp.Or(warningsURL(c, name), f.LiveURL)}); !slices.Contains(out, e) {
				out = append(out, e)
			}
		}
		for _, g := range r.Gauges {
			if g.File != "" {
				continue
			}
			switch g.Feed {
			case openmeteo.FeedName:
				add(g.Feed, openmeteo.LiveURL(openmeteo.Flood))
			case eccc.FeedName: // two servers: GeoMet has the daily means
				add(g.Feed, eccc.LiveURL, eccc.GeoMetURL)
			default:
				add(g.Feed, live[g.Feed])
			}
		}
		switch w := r.Weather; {
		case w == nil:
		case w.Feed == openmeteo.FeedName:
			add(w.Feed, openmeteo.LiveURL(openmeteo.Forecast), openmeteo.LiveURL(openmeteo.Archive), openmeteo.LiveURL(openmeteo.Ensemble))
		default:
			add(w.Feed, live[w.Feed])
		}
	}
	return out
}

var live = map[string]string{
	usgs.FeedName: usgs.DefaultBaseURL, nws.FeedName: nws.LiveURL, ghcn.FeedName: ghcn.LiveURL, eahydrology.FeedName: eahydrology.LiveURL,
}
