package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

type doctorCmd struct {
	configFlag
	Offline bool   `help:"Offline: skip feeds, mail relay and clock check."`
	Format  string `enum:"text,json" default:"text" help:"One of ${enum}."`
}

// finding is one thing that was looked at.
type finding struct {
	State   string `json:"state"` // "ok", "note" or "bad"
	What    string `json:"what"`
	Message string `json:"message"`
	Costs   string `json:"costs,omitempty"` // what it costs the forecast, or what to do
}

// States of a finding. Only bad ones change the exit code: a note is something
// that a healthy deployment may have.
const (
	good  = "ok"
	noted = "note"
	bad   = "bad"
)

// exam gathers findings.
type exam struct {
	e        *env
	cfg      *config.Config
	findings []finding
}

func (x *exam) add(state, what, costs, format string, args ...any) {
	x.findings = append(x.findings, finding{state, what, fmt.Sprintf(format, args...), costs})
}

// Run looks at all that the config needs and says what each missing thing
// costs. It changes nothing.
func (c doctorCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	x := &exam{e: e, cfg: cfg}
	x.add(good, "config", "", "%s: %d rivers", c.Config, len(cfg.Rivers))
	x.files()
	x.disk()
	x.database()
	if !c.Offline {
		x.servers()
		x.relay()
	}
	if err := x.store(); err != nil {
		return err
	}
	if c.Format == "json" {
		if err := writeJSON(e.stdout, x.findings); err != nil {
			return err
		}
	} else {
		x.print(e.stdout)
	}
	faults := 0
	for _, f := range x.findings {
		if f.State == bad {
			faults++
		}
	}
	if faults > 0 {
		return fmt.Errorf("%d of %d checks failed", faults, len(x.findings))
	}
	return nil
}

func (x *exam) print(w io.Writer) {
	for _, f := range x.findings {
		fmt.Fprintf(w, "%-4s  %s: %s\n", f.State, f.What, f.Message)
		if f.Costs != "" {
			fmt.Fprintf(w, "        %s\n", f.Costs)
		}
	}
}

// files looks at the files that the config names.
func (x *exam) files() {
	look := func(what, path, costs string) {
		if path == "" {
			return
		}
		f, err := os.Open(x.cfg.Path(path))
		if err != nil {
			x.add(bad, what, costs, "%v", err)
			return
		}
		_ = f.Close()
		x.add(good, what, "", "%s can be read", path)
	}
	for _, name := range config.FeedNames() {
		look("key of "+name, x.cfg.Feeds[name].KeyFile, "Without it this feed is skipped.")
	}
	look("insects", x.cfg.Insects, "Without it no forecast is issued.")
	look("mail password", x.cfg.Mail.PasswordFile, "Without it no email is sent.")
	look("mail CA certificate", x.cfg.Mail.CAFile, "Without it no email is sent.")
	look("admin secret", x.cfg.Serve.Secret, "Without it the diary can only be written from this machine.")
	for _, r := range x.cfg.Rivers {
		for _, g := range r.Gauges {
			look(fmt.Sprintf("%s, file of %s %s", r.Slug, g.Feed, g.Site), g.File, "Stored readings are kept but not updated.")
		}
		if r.Weather != nil {
			look(r.Slug+", weather file", r.Weather.File, "Stored readings are kept but not updated.")
		}
	}
}

// How much room a disk should have; our own defaults. A gauge of two variables
// takes about 200 kB a year.
const (
	roomLow  = 1 << 30
	roomNone = 100 << 20
)

// disk looks at the folders that are written to.
func (x *exam) disk() {
	folders := map[string]string{}
	if f, ok := strings.CutPrefix(x.cfg.StoreURL(), "file://"); ok {
		folders["disk of the store"] = filepath.FromSlash(f)
	}
	if f, ok := strings.CutPrefix(x.cfg.DatabaseURL(), "sqlite://"); ok {
		folders["disk of the database"] = filepath.Dir(filepath.FromSlash(f))
	}
	for _, what := range []string{"disk of the store", "disk of the database"} {
		folder := folders[what]
		if folder == "" {
			continue
		}
		for { // the folder may not be made yet: then the one above it decides
			if _, err := os.Stat(folder); err == nil || filepath.Dir(folder) == folder {
				break
			}
			folder = filepath.Dir(folder)
		}
		free, err := app.FreeBytes(folder)
		if err != nil {
			x.add(bad, what, "", "%s: %v", folder, err)
			continue
		}
		t, err := os.CreateTemp(folder, ".eclose-doctor-*")
		if err != nil {
			x.add(bad, what, "Nothing can be saved: no readings, no forecasts.", "%s cannot be written to: %v", folder, err)
			continue
		}
		_ = errors.Join(t.Close(), os.Remove(t.Name()))
		state, costs := good, ""
		switch {
		case free < roomNone:
			state, costs = bad, "When full, new readings are refused; stored data stay intact."
		case free < roomLow:
			state, costs = noted, "Free some space soon. When full, new readings are refused; stored data stay intact."
		}
		x.add(state, what, costs, "%s: %.1f GB free", folder, float64(free)/(1<<30))
	}
}

func (x *exam) database() {
	url := x.cfg.DatabaseURL()
	if f, ok := strings.CutPrefix(url, "sqlite://"); ok {
		if _, err := os.Stat(filepath.FromSlash(f)); errors.Is(err, os.ErrNotExist) {
			x.add(noted, "database", "'eclose serve' creates it. Until then there is no diary and no email.", "%s is not there yet", f)
			return
		}
	}
	name, has, knows, err := db.Schema(x.e.ctx, url)
	switch {
	case err != nil:
		x.add(bad, "database", "No diary, no saved forecasts, no email.", "%v", err)
	case has < knows:
		x.add(bad, "database", "Run eclose migrate.", "%s has schema %d, this program knows %d", name, has, knows)
	case has > knows:
		x.add(bad, "database", "Upgrade eclose: a newer version wrote it.", "%s has schema %d, this program knows only %d", name, has, knows)
	default:
		x.add(good, "database", "", "%s, schema %d", name, has)
	}
}

// store looks at the series, and through them at each river.
func (x *exam) store() error {
	s, err := series.Open(x.e.ctx, x.cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		x.add(bad, "store", "No data to forecast from. Run eclose ingest.", "%v", err)
		return nil
	}
	defer s.Close() //nolint:errcheck // it was only read
	keys, err := s.Keys(x.e.ctx)
	if err != nil {
		x.add(bad, "store", "Run eclose series verify; undamaged data stay readable.", "%v", err)
	} else {
		x.add(good, "store", "", "%d series", len(keys))
	}
	rivers, err := app.Rivers(x.cfg, nil)
	if err != nil {
		return app.Usage(err)
	}
	for i, r := range rivers {
		if err := x.river(s, keys, x.cfg.Rivers[i], r); err != nil {
			return err
		}
	}
	return nil
}
