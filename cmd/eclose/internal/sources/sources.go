package sources

import (
	"cmp"
	"fmt"
	"os"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/bafu"
	"example.org/eclose/ingest/feed/csvfile"
	"example.org/eclose/ingest/feed/eahydrology"
	"example.org/eclose/ingest/feed/eccc"
	"example.org/eclose/ingest/feed/ghcn"
	"example.org/eclose/ingest/feed/nws"
	"example.org/eclose/ingest/feed/openmeteo"
	"example.org/eclose/ingest/feed/sensorthings"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/ingest/feed/waterml2"
	"example.org/eclose/ingest/schedule"
)

// Builder holds what every source shares.
type Builder struct {
	Config  *config.Config
	Client  *client.Client
	Now     func() time.Time
	Skipped func(ingest.Skipped) // called with what a feed left out; may be nil
}

// recentDays is how far back a weather forecast is asked for as well: the
// archive lags about five days behind.
const recentDays = 10

// channel is what a gauger's visit measures: the caution is fitted to it.
var channel = []ingest.Variable{ingest.ChannelWidth, ingest.ChannelArea, ingest.ChannelVelocity}

// Tasks lists each river of the config with its tasks, weather first.
func (b Builder) Tasks() ([]schedule.RiverTasks, error) {
	made := map[string]ingest.Source{} // one source for each feed, so that it can remember its sites
	var out []schedule.RiverTasks
	for _, r := range b.Config.Rivers {
		p := schedule.RiverTasks{Name: r.Slug}
		if r.Weather != nil {
			tasks, err := b.weather(r)
			if err != nil {
				return nil, fmt.Errorf("river %s: %w", r.Slug, err)
			}
			p.Tasks = append(p.Tasks, tasks...)
		}
		for _, g := range r.Gauges {
			t, err := b.gauge(r, g, made)
			if err != nil {
				return nil, fmt.Errorf("river %s: %w", r.Slug, err)
			}
			p.Tasks = append(p.Tasks, t)
			if g.Feed == usgs.FeedName {
				visits := t
				visits.Request.Period, visits.Request.Variables, visits.Optional, visits.ByYear = ingest.NoPeriod, channel, true, false
				p.Tasks = append(p.Tasks, visits)
				if ahead, ok := b.flowAhead(t.Request.Site); ok {
					p.Tasks = append(p.Tasks, ahead)
				}
			}
		}
		out = append(out, p)
	}
	return out, nil
}

// Site is a gauge's site as its series name it.
func Site(g config.Gauge) (string, error) {
	if g.Feed == usgs.FeedName {
		return usgs.SiteID(g.Site)
	}
	return g.Site, nil
}

func (b Builder) gauge(r config.River, g config.Gauge, made map[string]ingest.Source) (schedule.Task, error) {
	site, err := Site(g)
	if err != nil {
		return schedule.Task{}, err
	}
	t := schedule.Task{Request: ingest.Request{Site: site, Lat: r.Lat, Lon: r.Lon, Period: g.Period}}
	for _, v := range g.Variables {
		t.Request.Variables = append(t.Request.Variables, ingest.Variable(v))
	}
	f := b.Config.Feeds[g.Feed]
	switch {
	case g.Feed == waterml2.FeedName && g.File != "":
		p, err := feed.Parser(g.Feed, feed.Options{Skipped: b.Skipped})
		if err != nil {
			return t, err
		}
		t.Source = feed.Saved{Parser: p, Path: b.Config.Path(g.File), Now: b.Now}
	case g.Feed == csvfile.FeedName:
		l, err := b.Config.CSVLayout(g.Layout)
		if err != nil {
			return t, err
		}
		t.Source = feed.Saved{Parser: l.Parser(site, b.Skipped), Path: b.Config.Path(g.File), Now: b.Now}
	case g.Feed == openmeteo.FeedName:
		t.Source = b.openMeteo(openmeteo.Flood, f, f.BaseURL)
		// A model's flow: asked as a forecast is, and never checked as a reading.
		t.Request.From, t.Ahead, t.Optional = b.Now().AddDate(0, 0, -recentDays), true, true
	default:
		s := made[g.Feed]
		if s == nil {
			if s, err = b.live(g.Feed, f); err != nil {
				return t, err
			}
			made[g.Feed] = s
		}
		t.Source = s
		t.ByYear = g.Feed == usgs.FeedName || g.Feed == eahydrology.FeedName
	}
	return t, nil
}

func (b Builder) live(name string, f config.Feed) (ingest.Source, error) {
	switch name {
	case usgs.FeedName:
		key, err := secret(b.Config.Path(f.KeyFile))
		if err != nil {
			return nil, err
		}
		return usgs.New(usgs.Config{Client: b.Client, BaseURL: f.BaseURL, Key: key, Limit: 50_000, Now: b.Now, Skipped: b.Skipped})
	case nws.FeedName:
		return &nws.Source{Client: b.Client, BaseURL: f.BaseURL, Now: b.Now, Skipped: b.Skipped}, nil
	case ghcn.FeedName:
		return ghcn.Source{Client: b.Client, BaseURL: f.BaseURL, Now: b.Now, Skipped: b.Skipped}, nil
	case eahydrology.FeedName:
		return eahydrology.Source{Client: b.Client, BaseURL: f.BaseURL, Now: b.Now, Skipped: b.Skipped}, nil
	case eccc.FeedName:
		return eccc.Source{Client: b.Client, BaseURL: f.BaseURL, GeoMetURL: cmp.Or(f.Archive, f.BaseURL), Now: b.Now, Skipped: b.Skipped}, nil
	case bafu.FeedName:
		return bafu.Source{Client: b.Client, BaseURL: f.BaseURL, Now: b.Now, Skipped: b.Skipped}, nil
	case waterml2.FeedName:
		return waterml2.New(waterml2.Config{Client: b.Client, URL: f.BaseURL, Now: b.Now, Skipped: b.Skipped})
	case sensorthings.FeedName:
		return sensorthings.Source{Client: b.Client, BaseURL: f.BaseURL, Now: b.Now, Skipped: b.Skipped}, nil
	}
	return nil, fmt.Errorf("feed %q cannot be fetched live; save a response and set file", name)
}

func (b Builder) weather(r config.River) ([]schedule.Task, error) {
	w := *r.Weather
	f := b.Config.Feeds[w.Feed]
	req := ingest.Request{Site: w.Site, Lat: *w.Lat, Lon: *w.Lon, Variables: []ingest.Variable{ingest.AirTemperature, ingest.Precipitation}}
	recent := req
	recent.From = b.Now().AddDate(0, 0, -recentDays)
	switch w.Feed {
	case openmeteo.FeedName:
		archive, ensemble := f.Archive, f.Ensemble
		if archive == "" {
			archive = f.BaseURL
		}
		if ensemble == "" {
			ensemble = f.BaseURL
		}
		air := req // members of rain are not used yet, and they are half of the answer
		air.Variables = []ingest.Variable{ingest.AirTemperature}
		return []schedule.Task{
			{Source: b.openMeteo(openmeteo.Archive, f, archive), Request: req, ByYear: true},
			{Source: b.openMeteo(openmeteo.Forecast, f, f.BaseURL), Request: recent, Ahead: true},
			{Source: b.openMeteo(openmeteo.Ensemble, f, ensemble), Request: air, Ahead: true},
		}, nil
	case nws.FeedName:
		req.Variables = append(req.Variables, ingest.ThunderProbability) // for the caution
		s, err := b.live(w.Feed, f)
		return []schedule.Task{{Source: s, Request: req, Ahead: true}}, err
	case ghcn.FeedName:
		req.Period = ingest.Daily
		s, err := b.live(w.Feed, f)
		return []schedule.Task{{Source: s, Request: req, ByYear: true}}, err
	case csvfile.FeedName:
		site := w.Site
		if site == "" {
			site = r.Slug + "-weather"
		}
		req.Site = site
		l, err := b.Config.CSVLayout(w.Layout)
		if err != nil {
			return nil, err
		}
		for _, c := range l.Columns {
			if c.Variable == string(ingest.AirTemperature) && c.Period == ingest.Daily {
				req.Period = ingest.Daily
			}
		}
		return []schedule.Task{{Source: feed.Saved{Parser: l.Parser(site, b.Skipped), Path: b.Config.Path(w.File), Now: b.Now}, Request: req}}, nil
	}
	return nil, fmt.Errorf("feed %q serves no weather", w.Feed)
}

func (b Builder) openMeteo(p openmeteo.Product, f config.Feed, base string) ingest.Source {
	model := f.Model
	if p != openmeteo.Ensemble {
		model = "" // the setting names an ensemble
	}
	return openmeteo.Source{Client: b.Client, Product: p, BaseURL: strings.TrimSuffix(strings.TrimRight(base, "/"), "/v1"), Model: model,
		Accepted: f.Enabled != nil && *f.Enabled, Now: b.Now, Skipped: b.Skipped}
}

// secret reads a key from its file, which keeps it out of the config and of
// the process list.
func secret(path string) (string, error) {
	if path == "" {
		return "", nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("reading the key file: %w", err)
	}
	return strings.TrimSpace(string(b)), nil
}
