package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/model/insects"
)

type initCmd struct {
	Near       string   `help:"A place on the river: latitude,longitude." placeholder:"LAT,LON"`
	Gauge      []string `help:"Gauges to use, as AGENCY:NUMBER, e.g. usgs:14092500; with --near or --state." placeholder:"AGENCY:NUMBER"`
	State      string   `help:"US state or Canadian province to search, two letters." placeholder:"XX"`
	Name       string   `help:"Only gauges whose name holds these words." placeholder:"WORDS"`
	Radius     float64  `default:"50" help:"Search radius around --near, km."`
	Regulated  bool     `help:"The river is below a dam."`
	Notices    string   `help:"Web address of local notices or releases." placeholder:"URL"`
	Units      string   `enum:"us,metric," default:"" help:"us or metric (default: by country)."`
	Zone       string   `help:"IANA time zone (default: by place)." placeholder:"ZONE"`
	Region     string   `help:"Insect catalogue region (default: by place)." placeholder:"NAME"`
	Contact    string   `help:"Your email address, sent to the agencies as they ask." placeholder:"ADDRESS"`
	Years      int      `default:"10" help:"Years of past data to download."`
	Out        string   `default:"eclose.toml" help:"Configuration file to write." placeholder:"FILE" type:"path"`
	Yes        bool     `short:"y" help:"Ask nothing: take the nearest gauge and every default."`
	BaseURL    string   `name:"base-url" hidden:"" help:"Alternative server of the agency." placeholder:"URL"`
	WeatherURL string   `name:"weather-url" hidden:"" help:"Alternative server of the weather." placeholder:"URL"`
}

// Run asks for a river, finds its gauges and weather, writes a config, fetches the past
// and prints the first forecast. On a terminal it ends by serving the pages.
func (c initCmd) Run(e *env) error {
	if _, err := os.Stat(c.Out); !errors.Is(err, fs.ErrNotExist) {
		return app.Usagef("%s exists already; name another file with --out, or add rivers to it by hand", c.Out)
	}
	if c.Years < 1 || c.Years > 80 {
		return app.Usagef("--years %d: use 1 to 80", c.Years)
	}
	q := newQuestions(e, c.Yes)
	setup := setup{Contact: c.Contact, Years: c.Years, BaseURL: c.BaseURL, WeatherURL: c.WeatherURL}
	for {
		r, err := c.river(e, q)
		if err != nil {
			return err
		}
		setup.Rivers = append(setup.Rivers, r)
		if !q.asks || !q.yes("Another river?", false) {
			break
		}
		c.Near, c.State, c.Name, c.Gauge, c.Notices, c.Zone, c.Region, c.Regulated = "", "", "", nil, "", "", "", false
	}
	first := setup.Rivers[0]
	setup.Units = cmp.Or(c.Units, unitsAt(first.Zone))
	if q.asks && c.Units == "" && !q.yes(map[string]string{"us": "Feet and Fahrenheit?", "metric": "Metres and Celsius?"}[setup.Units], true) {
		setup.Units = map[string]string{"us": "metric", "metric": "us"}[setup.Units]
	}
	if setup.Contact == "" {
		setup.Contact = q.text("Your email address, which the agencies ask for? Enter for none.", "")
	}
	if !q.yes("Open-Meteo's weather is free for non-commercial use only. Is yours?", true) {
		return app.Usagef("no weather feed is left for you; a paid server is set as base-url in [feeds.open-meteo]")
	}
	return c.finish(e, setup)
}

// finish writes the config, fetches, forecasts and shows.
func (c initCmd) finish(e *env, s setup) error {
	if err := os.WriteFile(c.Out, []byte(s.text()), 0o644); err != nil { //nolint:gosec // holds no secret
		return fmt.Errorf("writing the config: %w", err)
	}
	cfg, err := config.Load(c.Out)
	if err != nil {
		return fmt.Errorf("the config just written is not right: %w", err)
	}
	plural := ""
	if len(s.Rivers) != 1 {
		plural = "s"
	}
	fmt.Fprintf(e.stdout, "\nWritten: %s (%d river%s). Fetching %d years of readings and weather ...\n", c.Out, len(s.Rivers), plural, s.Years)
	began := e.now()
	fetched := (ingestCmd{configFlag: configFlag{c.Out}}).Run(e)
	if fetched != nil { // what came may be enough
		fmt.Fprintf(e.stderr, "eclose: %v; to try again: eclose ingest --config %s\n", fetched, c.Out)
	}
	fmt.Fprintf(e.stdout, "Fetched in %.0f s.\n\n", e.now().Sub(began).Seconds())
	if err := (forecastCmd{configFlag: configFlag{c.Out}, Format: "text", Members: 200}).Run(e); err != nil {
		return errors.Join(fetched, err)
	}
	if onTerminal(e.stdout) && os.Getenv("CI") == "" {
		return (serveCmd{configFlag: configFlag{c.Out}}).Run(e)
	}
	fmt.Fprintf(e.stdout, "\nNow: eclose forecast --config %[1]s\n     eclose serve --config %[1]s    # pages at http://%[2]s, kept fresh\n", c.Out, cfg.Serve.Addr)
	return nil
}

// river finds one river's gauge by the flags, or by asking.
func (c initCmd) river(e *env, q *questions) (setupRiver, error) {
	for {
		found, err := c.find(e, q)
		switch {
		case err != nil && q.asks && c.Near == "" && c.State == "":
			q.say("%v", err)
			continue
		case err != nil:
			return setupRiver{}, err
		}
		g := found[0]
		if len(c.Gauge) == 0 {
			k := q.choose("Which one?", gaugeLines(e, found))
			if k < 0 {
				continue
			}
			g = found[k]
		}
		return c.describe(q, g)
	}
}

// find searches the agencies' lists for what the flags say or a person answers.
func (c initCmd) find(e *env, q *questions) ([]ingest.Gauge, error) {
	s := gaugesFindCmd{Near: c.Near, State: c.State, Radius: c.Radius, Servers: agencyFlags{BaseURL: c.BaseURL, Contact: c.Contact}}
	words := c.Name
	if s.Near == "" && s.State == "" {
		if !q.asks {
			return nil, app.Usagef("name a place with --near 44.73,-121.25, or a state with --state OR")
		}
		answer := q.text("Which river? Latitude,longitude, or a name and a state, such as: deschutes, OR", "")
		if answer == "" {
			return nil, errors.New("no answer; stop with Ctrl-C")
		}
		var err error
		if s.Near, s.State, words, err = placeOf(answer); err != nil {
			return nil, err
		}
	}
	for _, g := range c.Gauge {
		agency, number, ok := strings.Cut(g, ":")
		if !ok || number == "" {
			return nil, app.Usagef("--gauge %s: write the agency and the number, such as usgs:14092500", g)
		}
		s.Agency = append(s.Agency, agency)
	}
	if c.BaseURL != "" && len(s.Agency) == 0 {
		s.Agency = []string{feed.Agencies[0].Name}
	}
	found, err := s.search(e, ingest.WaterTemperature, ingest.Discharge)
	if err != nil {
		return nil, err
	}
	found = slices.DeleteFunc(found, func(g ingest.Gauge) bool {
		if len(c.Gauge) > 0 {
			return !slices.ContainsFunc(c.Gauge, func(x string) bool {
				return strings.EqualFold(x, g.Feed+":"+g.Site) || strings.EqualFold(x, g.Feed+":"+strings.TrimPrefix(g.Site, "USGS-"))
			})
		}
		return !holdsWords(g.Name, words)
	})
	if len(found) == 0 {
		return nil, app.Usagef("no gauge of temperature or flow found there; try a wider --radius, another name, or eclose gauges find")
	}
	return found, nil
}

// describe completes what must be known of a river.
func (c initCmd) describe(q *questions, g ingest.Gauge) (setupRiver, error) {
	r := setupRiver{Gauge: g, Name: title(g.Name), Lat: g.Lat, Lon: g.Lon, Regulated: c.Regulated, Notices: c.Notices, Zone: cmp.Or(c.Zone, zoneAt(g.Feed, g.Lat, g.Lon))}
	region, ok := insects.RegionOf(g.Lat, g.Lon)
	if c.Region != "" {
		var err error
		if region, err = insects.ParseRegion(c.Region); err != nil {
			return r, app.Usagef("--region: %w", err)
		}
		ok = true
	}
	for !ok && q.asks {
		var err error
		if region, err = insects.ParseRegion(q.text("The insect catalogue has no region for this place. Which is nearest?", "")); err != nil {
			q.say("%v", err)
			continue
		}
		ok = true
	}
	if !ok {
		return r, app.Usagef("the insect catalogue has no region for %.2f,%.2f; name the nearest with --region", g.Lat, g.Lon)
	}
	if err := region.CheckLatitude(g.Lat); err != nil {
		return r, app.Usagef("--region: %w", err)
	}
	r.Region = region
	if q.asks && c.Zone == "" {
		r.Zone = q.zone(r.Zone)
	}
	if !r.Regulated {
		r.Regulated = q.yes("Is it below a dam?", damInName(g.Name))
	}
	if r.Regulated && r.Notices == "" {
		r.Notices = q.text("Where does the operator post releases? A web address, or Enter.", "")
	}
	return r, nil
}
