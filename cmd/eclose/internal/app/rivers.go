package app

import (
	"fmt"
	"os"
	"slices"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/openmeteo"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/subscribe"
)

// LoadCatalogue reads the insect groups of a config: the built-in ones and its
// own file over them.
func LoadCatalogue(cfg *config.Config) (*insects.Catalogue, error) {
	c, err := insects.Load()
	if err != nil {
		return nil, fmt.Errorf("loading the insect catalogue: %w", err)
	}
	if cfg.Insects == "" {
		return c, nil
	}
	f, err := os.Open(cfg.Path(cfg.Insects))
	if err != nil {
		return nil, fmt.Errorf("reading your own insect groups: %w", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	return c.Overlay(cfg.Insects, f)
}

// Rivers turns the config's rivers into what the forecast must know of them.
// Any river of the config may be the donor of a water model to any other.
func Rivers(cfg *config.Config, only []string) ([]forecast.River, error) {
	all := make([]forecast.River, len(cfg.Rivers))
	at := map[string]int{}
	for i, r := range cfg.Rivers {
		f, err := riverOf(r, cfg.Units)
		if err != nil {
			return nil, err
		}
		f.Warnings, _, _ = cfg.WarningsOf(r)
		if sources.FlowForecasts(cfg) {
			for _, site := range sources.USGSSites(r) {
				f.FlowAhead = append(f.FlowAhead, forecast.FeedSite{Feed: nwps.FeedName, Site: site})
			}
		}
		all[i], at[r.Slug] = f, i
	}
	out := slices.Clone(all)
	if len(only) > 0 {
		out = out[:0]
		for _, name := range only {
			r, err := cfg.River(name)
			if err != nil {
				return nil, err
			}
			out = append(out, all[at[r.Slug]])
		}
	}
	for i := range out {
		out[i].Near = all
	}
	return out, nil
}

func riverOf(r config.River, units string) (forecast.River, error) {
	region := insects.Region("")
	if r.Region != "" {
		var err error
		if region, err = insects.ParseRegion(r.Region); err != nil {
			return forecast.River{}, fmt.Errorf("river %q: %w", r.Name, err)
		}
	}
	f := forecast.River{Slug: r.Slug, Name: r.Name, Region: string(region), Zone: r.Zone, Lat: r.Lat, Lon: r.Lon, ElevationM: r.Elevation,
		Groups: r.Groups, Regulated: r.Regulated, Notices: r.Notices, Fishable: r.FishableM3s(units)}
	if r.Flood != nil {
		h := r.Flood.Metres()
		f.Flood = wading.Flood{ActionM: h[0], MinorM: h[1], ModerateM: h[2], MajorM: h[3]}
	}
	for _, g := range r.Gauges {
		site, err := sources.Site(g)
		if err != nil {
			return forecast.River{}, err
		}
		station := forecast.FeedSite{Feed: g.Feed, Site: site}
		if g.Feed == openmeteo.FeedName { // its flood model forecasts the flow and measures none
			station.Site = fmt.Sprintf("%g,%g", r.Lat, r.Lon)
			f.FlowAhead = append(f.FlowAhead, station)
			continue
		}
		f.Gauges = append(f.Gauges, station)
	}
	if w := r.Weather; w != nil {
		s := forecast.FeedSite{Feed: w.Feed, Site: w.Site}
		if s.Site == "" {
			s.Site = fmt.Sprintf("%g,%g", *w.Lat, *w.Lon)
			if w.Feed == "csv" {
				s.Site = r.Slug + "-weather"
			}
		}
		f.Weather = &s
	}
	return f, nil
}

// IssueTime is the moment of the issue: now, or noon of a date at the river.
func IssueTime(r forecast.River, date string, now time.Time) (time.Time, error) {
	if date == "" {
		return now, nil
	}
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("river %q: %w", r.Name, err)
	}
	t, err := time.ParseInLocation(time.DateOnly, date, zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("--issue-date: %w", NoDate(date))
	}
	if t.After(now) {
		return time.Time{}, fmt.Errorf("--issue-date %s is in the future; it is the day on which the forecast is made: use today or earlier", date)
	}
	return t.Add(12 * time.Hour), nil
}

// NoDate says what is wrong with a text that is not a date.
func NoDate(s string) error {
	if y, m, ok := monthOf(s); ok && m >= 1 && m <= 12 {
		month := time.Date(y, time.Month(m)+1, 0, 0, 0, 0, 0, time.UTC)
		return fmt.Errorf("%s: %s has %d days", s, month.Format("January 2006"), month.Day())
	} else if ok {
		return fmt.Errorf("%s: there is no month %d; write year-month-day, such as 2026-06-30", s, m)
	}
	return fmt.Errorf("%q is not a date; write it as year-month-day, such as 2026-06-30", s)
}

// monthOf reads year and month of 2026-02-30, whether that day exists or not.
func monthOf(s string) (y, m int, ok bool) {
	if len(s) != len(time.DateOnly) {
		return 0, 0, false
	}
	var d int
	n, err := fmt.Sscanf(s, "%4d-%2d-%2d", &y, &m, &d)
	return y, m, err == nil && n == 3
}

// Names tell the subscriptions which rivers and groups there are.
func Names(rivers []forecast.River, c *insects.Catalogue) subscribe.Names {
	return subscribe.Names{
		River: func(slug string) bool {
			return slices.ContainsFunc(rivers, func(r forecast.River) bool { return r.Slug == slug })
		},
		Group: func(key string) bool { _, ok := c.Group(key); return ok },
	}
}

// Units are what a config prints for people.
func Units(cfg *config.Config) wading.Units {
	if cfg.Units == "us" {
		return wading.US
	}
	return wading.Metric
}

// TyingLine is the imitation of a stage in one line.
func TyingLine(c *insects.Catalogue, group string, stage forecast.Stage) []string {
	g, ok := c.Group(group)
	if !ok || g.HookMin == 0 {
		return nil
	}
	line := fmt.Sprintf("sizes %d to %d", g.HookMin, g.HookMax)
	if g.HookMin == g.HookMax {
		line = fmt.Sprintf("size %d", g.HookMin)
	}
	if g.Colours != "" {
		line += ", " + g.Colours
	}
	if p := g.Presentation(insects.Stage(stage)); p != "" {
		line += ": " + p
	}
	return []string{line}
}

// Owners is whose data the feeds have, where the config says so.
func Owners(cfg *config.Config) map[string]string {
	out := map[string]string{}
	for name, f := range cfg.Feeds {
		out[name] = f.Owner
	}
	return out
}
