package main

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"strings"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed"
)

type gaugesCmd struct {
	Find    gaugesFindCmd    `cmd:"" help:"Search the agencies' gauges near a place, in a state or in a province."`
	Normals gaugesNormalsCmd `cmd:"" help:"What each day of the year has been like at a gauge, from the agency's statistics."`
}

// agencyFlags say how an agency is reached: by the config, and in place of it
// by the command line.
type agencyFlags struct {
	Config  string `env:"ECLOSE_CONFIG" placeholder:"FILE" help:"The TOML file whose [feeds.NAME] say how an agency is reached; not needed for the live services."`
	BaseURL string `name:"base-url" placeholder:"URL" help:"Another server with the same service, for one agency."`
	KeyFile string `name:"key-file" placeholder:"FILE" type:"path" help:"File that holds the agency's key."`
	Contact string `placeholder:"ADDRESS" help:"Your address for the User-Agent, so that the agency can write before it blocks."`
}

func (f agencyFlags) load() (*config.Config, error) {
	if f.Config == "" {
		return &config.Config{}, nil
	}
	cfg, err := config.LoadFeeds(f.Config)
	if err != nil {
		return nil, usageError{err}
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
			return s, usagef("reading the key: %w", err)
		}
		s.Key = strings.TrimSpace(string(b))
	}
	fast := map[string]float64{}
	for _, u := range []string{s.BaseURL, s.ArchiveURL} {
		if host := loopback(u); host != "" {
			fast[host] = 1000
		}
	}
	agent := userAgent(cfg)
	if f.Contact != "" {
		agent = "eclose (" + f.Contact + ")"
	}
	s.Client, err = client.New(client.Options{UserAgent: agent, PerHost: fast, Timeout: answerWithin, Now: e.now, Sleep: e.sleep})
	return s, err
}

type gaugesFindCmd struct {
	Near    string      `xor:"where" required:"" placeholder:"LAT,LON" help:"Latitude,longitude in degrees, such as 44.7,-121.2."`
	State   string      `xor:"where" required:"" placeholder:"XX" help:"State of the USA or province of Canada, two letters."`
	Radius  float64     `default:"50" help:"Kilometres around --near."`
	With    string      `default:"water-temperature" help:"Variable the gauge must measure: water-temperature, discharge, gauge-height."`
	Agency  []string    `placeholder:"NAME" help:"Whose list to search: ${agencies}. Left out: the agencies of that country, and a server that the config names."`
	All     bool        `name:"all-types" help:"Also wells, lakes and outfalls."`
	Format  string      `enum:"table,json" default:"table" help:"How to print: table or json."`
	Servers agencyFlags `embed:""`
}

func (c *gaugesFindCmd) Run(e *env) error {
	q := ingest.GaugeSearch{Region: c.State, RadiusKm: c.Radius, AllTypes: c.All, Variable: ingest.Variable(strings.ReplaceAll(c.With, "-", "_"))}
	if q.Variable.Unit() == "" {
		return usagef("--with %s: there is no such variable", c.With)
	}
	if c.Near != "" {
		var err error
		if q.Lat, q.Lon, err = parsePlace(c.Near); err != nil {
			return err
		}
		if !(c.Radius > 0) {
			return usagef("--radius %g: write kilometres, more than 0", c.Radius)
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
	var found []ingest.Gauge
	var faults []error
	for _, a := range agencies {
		server, err := c.Servers.server(e, cfg, a.Name)
		if err != nil {
			return err
		}
		finder, err := a.Finder(server)
		if err != nil {
			return usagef("%w", err)
		}
		list, err := finder.Find(e.ctx, q)
		if err != nil {
			faults = append(faults, fmt.Errorf("searching gauges: %w", err))
			continue
		}
		found = append(found, list...)
	}
	if len(faults) == len(agencies) {
		return errors.Join(faults...)
	}
	ingest.SortGauges(found)
	if c.Format == "json" {
		err = writeGaugesJSON(e, found)
	} else {
		writeGaugesTable(e, found, q, agencies)
	}
	return errors.Join(append(faults, err)...) // what one agency knows does not hide that another did not answer
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
			return nil, usagef("--agency %s: there is no such agency with a list of gauges; known are %s", name, feed.AgencyNames())
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
		return nil, usagef("--state %s: is no state of the USA and no province of Canada; elsewhere search by --near", c.State)
	case len(out) == 0:
		return nil, usagef("--near %s: none of the agencies known by place has gauges there (they are those of the USA, England and Canada); name one by --agency", c.Near)
	case c.Servers.BaseURL != "" && len(out) > 1:
		return nil, usagef("--base-url is one agency's, but %d would be asked; name one by --agency", len(out))
	}
	return out, nil
}
