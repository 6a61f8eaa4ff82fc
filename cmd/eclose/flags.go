package main

import (
	"context"
	"errors"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/insects"
	"example.org/eclose/notify/subscribe"
)

// configFlag is for commands that need a config.
type configFlag struct {
	Config string `required:"" env:"ECLOSE_CONFIG" placeholder:"FILE" help:"Configuration file (TOML)."`
}

func (f configFlag) load() (*config.Config, error) {
	cfg, err := config.Load(f.Config)
	if err != nil {
		return nil, app.Usage(err)
	}
	return cfg, nil
}

// loadInsects loads the config and its catalogue.
func (f configFlag) loadInsects() (*config.Config, *insects.Catalogue, error) {
	cfg, err := f.load()
	if err != nil {
		return nil, nil, err
	}
	c, err := app.LoadCatalogue(cfg)
	if err != nil {
		return nil, nil, app.Usage(err)
	}
	return cfg, c, nil
}

// loadRivers is loadInsects with the rivers that are named; all of them where none is.
func (f configFlag) loadRivers(only []string) (*config.Config, *insects.Catalogue, []forecast.River, error) {
	cfg, c, err := f.loadInsects()
	if err != nil {
		return nil, nil, nil, err
	}
	rivers, err := app.Rivers(cfg, only)
	if err != nil {
		return nil, nil, nil, app.Usage(err)
	}
	return cfg, c, rivers, nil
}

// databaseFlag is for commands that need no more than the database. With a
// config they also know which rivers and groups there are.
type databaseFlag struct {
	Config   string `env:"ECLOSE_CONFIG" placeholder:"FILE" help:"Configuration file (TOML); also checks river and group names."`
	Database string `env:"ECLOSE_DATABASE" placeholder:"URL" help:"SQLite file or postgres://… URL; overrides the config."`
}

// names tells which rivers and groups may be named; without a config any may.
func (f databaseFlag) names() (n knownNames, err error) {
	if f.Config == "" {
		return n, nil
	}
	n.cfg, n.catalogue, err = configFlag{f.Config}.loadInsects()
	return n, err
}

// catalogue is the config's, or the embedded one without a config.
func (f databaseFlag) catalogue() (*insects.Catalogue, error) {
	if f.Config == "" {
		return insects.Load()
	}
	_, c, err := configFlag{f.Config}.loadInsects()
	return c, err
}

// knownNames is a config's rivers and the groups of its catalogue.
type knownNames struct {
	cfg       *config.Config
	catalogue *insects.Catalogue
}

// check gives the short name of a river and the key of a group, which may be written as
// the forecast prints it. It refuses a river or a group that does not exist: what is kept
// under such a name would be forgotten in silence.
func (n knownNames) check(river, group string) (slug, key string, err error) {
	if n.cfg == nil {
		return river, group, nil
	}
	r, err := n.cfg.River(river)
	if err != nil {
		return "", "", app.Usage(err)
	}
	if key, ok := n.keyOf(group, r); ok {
		return r.Slug, key, nil
	}
	var keys []string
	for _, g := range n.catalogue.Groups() {
		keys = append(keys, g.Key)
	}
	hint := ""
	if near := insects.Closest(group, keys, 3); len(near) > 0 {
		hint = "did you mean " + strings.Join(near, " or ") + "? "
	}
	return "", "", app.Usagef("unknown insect group %q: %stry: eclose group find %q", group, hint, group)
}

// resolve puts short names of rivers and keys of groups in place of what a reader wrote.
func (n knownNames) resolve(r *subscribe.Request) error {
	if n.cfg == nil {
		return nil
	}
	for i := range r.Subscriptions {
		w := &r.Subscriptions[i]
		river, err := n.cfg.River(w.River)
		if err != nil {
			return app.Usage(err)
		}
		w.River = river.Slug
		w.Groups = slices.Clone(w.Groups)
		for k, g := range w.Groups {
			if _, w.Groups[k], err = n.check(w.River, g); err != nil {
				return err
			}
		}
	}
	return nil
}

// keyOf finds a group by its key, or by its label among the groups of a river's region.
func (n knownNames) keyOf(group string, r config.River) (string, bool) {
	if _, ok := n.catalogue.Group(group); ok {
		return group, true
	}
	label := strings.ToLower(strings.Join(strings.Fields(strings.ReplaceAll(group, "-", " ")), " "))
	region := insects.Region(r.Region)
	if r.Region == "" {
		region, _ = insects.RegionOf(r.Lat, r.Lon)
	} else if parsed, err := insects.ParseRegion(r.Region); err == nil {
		region = parsed
	}
	var elsewhere string
	for _, g := range n.catalogue.Groups() {
		if insects.Label(g.Key) != label {
			continue
		}
		if slices.Contains(g.Regions(), region) {
			return g.Key, true
		}
		elsewhere = g.Key
	}
	return elsewhere, elsewhere != ""
}

// usualQuiet are the quiet hours of a reader who names none. Our own default.
const usualQuietFrom, usualQuietTo = 22 * 60, 7 * 60

// complete fills what a reader did not say from the config: the first river's zone, the
// units, the usual quiet hours.
func (n knownNames) complete(r *subscribe.Request) {
	if n.cfg == nil {
		return
	}
	if r.Zone == "" && len(r.Subscriptions) > 0 {
		if river, err := n.cfg.River(r.Subscriptions[0].River); err == nil {
			r.Zone = river.Zone
		}
	}
	if r.Units == "" {
		r.Units = n.cfg.Units
	}
	if r.QuietFrom == 0 && r.QuietTo == 0 {
		r.QuietFrom, r.QuietTo = usualQuietFrom, usualQuietTo
	}
}

// subscribe is the same for people who ask for mail.
func (n knownNames) subscribe() subscribe.Names {
	if n.cfg == nil {
		return subscribe.Names{}
	}
	return subscribe.Names{River: func(slug string) bool { _, err := n.cfg.River(slug); return err == nil }, Group: func(key string) bool { _, ok := n.catalogue.Group(key); return ok }}
}

// url is where the database is: --database, else what the config says.
func (f databaseFlag) url() (string, error) {
	switch {
	case f.Database != "":
		return f.Database, nil
	case f.Config == "":
		return "", app.Usagef("give --config FILE or --database URL")
	}
	cfg, err := configFlag{f.Config}.load()
	if err != nil {
		return "", err
	}
	return cfg.DatabaseURL(), nil
}

// write opens the database to write, runs do and closes it again. Where eclose
// serve has it, that process runs the statements.
func (f databaseFlag) write(e *env, do func(*db.DB) error) error {
	return f.use(e, db.OpenWriter, do)
}

// read is write for a command that changes nothing: it waits for nobody.
func (f databaseFlag) read(e *env, do func(*db.DB) error) error {
	return f.use(e, db.OpenReader, do)
}

func (f databaseFlag) use(e *env, open func(context.Context, string) (*db.DB, error), do func(*db.DB) error) (err error) {
	url, err := f.url()
	if err != nil {
		return err
	}
	d, err := open(e.ctx, url)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	return do(d)
}
