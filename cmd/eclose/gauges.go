package main

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed"
)

type gaugesCmd struct {
	Find    gaugesFindCmd    `cmd:"" help:"Find gauges near a place, or in a state or province."`
	Normals gaugesNormalsCmd `cmd:"" help:"Show a gauge's long-term daily statistics, as published by the agency."`
}

// agencyFlags say how an agency is reached: by the config, and in place of it
// by the command line.
type agencyFlags struct {
	Config  string `env:"ECLOSE_CONFIG" placeholder:"FILE" help:"Configuration file; only needed for custom [feeds.NAME] settings."`
	BaseURL string `name:"base-url" placeholder:"URL" help:"Alternative server, for one agency."`
	KeyFile string `name:"key-file" placeholder:"FILE" type:"path" help:"File containing the agency's API key."`
	Contact string `placeholder:"ADDRESS" help:"Contact address sent in the User-Agent, so the agency can reach you."`
}

func (f agencyFlags) load() (*config.Config, error) {
	if f.Config == "" {
		return &config.Config{}, nil
	}
	cfg, err := config.LoadFeeds(f.Config)
	if err != nil {
		return nil, app.Usage(err)
	}
	return cfg, nil
}

// server is how the agency of that name is reached.
func (f agencyFlags) server(e *env, cfg *config.Config, name string) (s feed.Server, err error) {
	fc := cfg.Feeds[name]
	s = feed.Server{BaseURL: cmp.Or(f.BaseURL, fc.BaseURL), Now: e.now}
	if f.BaseURL == "" {
		s.ArchiveURL = fc.Archive
	}
	if key := cmp.Or(f.KeyFile, cfg.Path(fc.KeyFile)); key != "" {
		b, err := os.ReadFile(key)
		if err != nil {
			return s, app.Usagef("reading the key: %w", err)
		}
		s.Key = strings.TrimSpace(string(b))
	}
	fast := map[string]float64{}
	for _, u := range []string{s.BaseURL, s.ArchiveURL} {
		if host := app.Loopback(u); host != "" {
			fast[host] = 1000
		}
	}
	agent := app.UserAgent(cfg)
	if f.Contact != "" {
		agent = "eclose (" + f.Contact + ")"
	}
	s.Client, err = client.New(client.Options{UserAgent: agent, PerHost: fast, Timeout: app.AnswerWithin, Now: e.now, Sleep: e.sleep})
	return s, err
}

type gaugesFindCmd struct {
	Near     string      `xor:"where" required:"" placeholder:"LAT,LON" help:"Latitude,longitude, e.g. 44.7,-121.2."`
	State    string      `xor:"where" required:"" placeholder:"XX" help:"Two-letter US state or Canadian province."`
	Radius   float64     `default:"50" help:"Search radius around --near, km."`
	Variable string      `aliases:"with" default:"water-temperature" help:"Required variable: water-temperature, discharge or gauge-height."`
	Agency   []string    `placeholder:"NAME" help:"Agency to search: ${agencies}. Default: that country's agencies, plus any server in the config."`
	All      bool        `name:"all-types" help:"Include wells, lakes and outfalls."`
	Format   string      `enum:"text,json" default:"text" help:"Output: text or json."`
	Servers  agencyFlags `embed:""`
}

func (c *gaugesFindCmd) Run(e *env) error {
	q := ingest.GaugeSearch{Region: c.State, RadiusKm: c.Radius, AllTypes: c.All, Variable: ingest.Variable(strings.ReplaceAll(c.Variable, "-", "_"))}
	if q.Variable.Unit() == "" {
		return app.Usagef("--variable %s: unknown variable; use water-temperature, discharge or gauge-height", c.Variable)
	}
	if c.Near != "" {
		var err error
		if q.Lat, q.Lon, err = parsePlace(c.Near); err != nil {
			return err
		}
		if !(c.Radius > 0) {
			return app.Usagef("--radius %g: must be more than 0 km", c.Radius)
		}
	}
	cfg, err := c.Servers.load()
	if err != nil {
		return err
	}
	agencies, err := c.agencies(cfg, q)
	if err != nil {
		return err
	}
	found, faults, err := c.ask(e, cfg, agencies, q)
	if err != nil {
		return err
	}
	if len(faults) == len(agencies) {
		return errors.Join(faults...)
	}
	ingest.SortGauges(found)
	floods, err := c.floodStages(e, cfg, found)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		err = writeGaugesJSON(e, found, floods)
	} else {
		writeGaugesTable(e, found, q, agencies, floods)
	}
	return errors.Join(append(faults, err)...) // what one agency knows does not hide that another did not answer
}

// ask searches the lists of some agencies, one after the other.
func (c *gaugesFindCmd) ask(e *env, cfg *config.Config, agencies []feed.Agency, q ingest.GaugeSearch) (found []ingest.Gauge, faults []error, err error) {
	for _, a := range agencies {
		server, err := c.Servers.server(e, cfg, a.Name)
		if err != nil {
			return nil, nil, err
		}
		finder, err := a.Finder(server)
		if err != nil {
			return nil, nil, app.Usagef("%w", err)
		}
		list, err := finder.Find(e.ctx, q)
		if err != nil {
			faults = append(faults, fmt.Errorf("searching gauges: %w", err))
			continue
		}
		found = append(found, list...)
	}
	return found, faults, nil
}

// search finds the gauges of any of some variables: those of the first one first, then
// the nearest. A gauge of several stands once, with all its series.
func (c *gaugesFindCmd) search(e *env, variables ...ingest.Variable) ([]ingest.Gauge, error) {
	q := ingest.GaugeSearch{Region: c.State, RadiusKm: c.Radius}
	if c.Near != "" {
		var err error
		if q.Lat, q.Lon, err = parsePlace(c.Near); err != nil {
			return nil, err
		}
	}
	cfg, err := c.Servers.load()
	if err != nil {
		return nil, err
	}
	agencies, err := c.agencies(cfg, q)
	if err != nil {
		return nil, err
	}
	var out []ingest.Gauge
	for _, v := range variables {
		q.Variable = v
		found, faults, err := c.ask(e, cfg, agencies, q)
		if err != nil {
			return nil, err
		}
		if len(faults) == len(agencies) {
			return nil, errors.Join(faults...)
		}
		ingest.SortGauges(found)
		for _, g := range found {
			if !slices.ContainsFunc(out, func(x ingest.Gauge) bool { return x.Feed == g.Feed && x.Site == g.Site }) {
				out = append(out, g)
			}
		}
	}
	return out, nil
}

// agencies are those that the command line names, or those that may have
// gauges there.
func (c *gaugesFindCmd) agencies(cfg *config.Config, q ingest.GaugeSearch) ([]feed.Agency, error) {
	var out []feed.Agency
	for _, name := range c.Agency {
		known := false
		for _, a := range feed.Agencies {
			if strings.EqualFold(a.Name, name) {
				known = true
				out = append(out, a)
			}
		}
		if !known {
			return nil, app.Usagef("--agency %s: unknown; use one of %s", name, feed.AgencyNames())
		}
	}
	if len(c.Agency) == 0 {
		for _, a := range feed.Agencies {
			// Of a server without a country only the config knows, and it has
			// no states.
			if a.May(q) || a.Anywhere() && q.Region == "" && cfg.Feeds[a.Name].BaseURL != "" {
				out = append(out, a)
			}
		}
	}
	switch {
	case len(out) == 0 && c.State != "":
		return nil, app.Usagef("--state %s: not a US state or Canadian province; elsewhere use --near", c.State)
	case len(out) == 0:
		return nil, app.Usagef("--near %s: outside the USA, England and Canada; choose a list with --agency", c.Near)
	case c.Servers.BaseURL != "" && len(out) > 1:
		return nil, app.Usagef("--base-url applies to one agency, but %d would be searched; choose one with --agency", len(out))
	}
	return out, nil
}
