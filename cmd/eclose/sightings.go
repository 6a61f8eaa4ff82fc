package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/feed/gbif"
	"example.org/eclose/ingest/feed/inaturalist"
	"example.org/eclose/ingest/occurrence"
)

type sightingsCmd struct {
	Import   sightingsImportCmd   `cmd:"" help:"Import open records: a Darwin Core archive or CSV, a GBIF download, a saved response."`
	Fetch    sightingsFetchCmd    `cmd:"" help:"Fetch open records around your rivers from iNaturalist and GBIF."`
	List     sightingsListCmd     `cmd:"" help:"List the open records that count for an insect group, with their credit."`
	Withhold sightingsWithholdCmd `cmd:"" help:"Exclude an open record from the forecast, or include it again."`
	Export   sightingsExportCmd   `cmd:"" help:"Export your own sightings and blank sessions as Darwin Core."`
	Share    sightingsShareCmd    `cmd:"" help:"Write your sightings as a file for neighbouring installations, without names."`
	Receive  sightingsReceiveCmd  `cmd:"" help:"Take in a neighbour's file; taking it again updates it."`
	Forget   sightingsForgetCmd   `cmd:"" help:"Forget a neighbour and withdraw what it gave."`
	Windows  sightingsWindowsCmd  `cmd:"" help:"Show windows of flight, this season and presence by open records, beside the book's."`
	Used     sightingsUsedCmd     `cmd:"" help:"List every sighting that was used for a river's dates, by kind."`
}

type sightingsImportCmd struct {
	databaseFlag
	File          string `arg:"" type:"existingfile" help:"File to import; its content decides how it is read."`
	DryRun        bool   `help:"Show what would be taken and what would be left out; keep nothing."`
	NonCommercial bool   `help:"Also take records under CC BY-NC."`
	Format        string `enum:"text,json" default:"text" help:"text or json; json lists every record."`
}

func (c sightingsImportCmd) Run(e *env) error {
	catalogue, err := c.catalogue()
	if err != nil {
		return err
	}
	cfg := &config.Config{}
	if c.Config != "" {
		if cfg, err = (configFlag{c.Config}).load(); err != nil {
			return err
		}
	}
	t := records.Taker{Judge: &records.Judge{Catalogue: catalogue, NonCommercial: c.NonCommercial || cfg.Sightings.NonCommercial, Now: e.now()}}
	var list []judgedLine
	if c.Format == "json" {
		t.Each = func(j records.Judged) { list = append(list, lineOf(j)) }
	}
	take := func() error {
		err := records.ReadFile(c.File, func(r occurrence.Record) error { return t.Take(e.ctx, r) })
		return errors.Join(err, t.Flush(e.ctx))
	}
	if c.DryRun {
		err = take()
	} else {
		err = c.write(e, func(d *db.DB) error {
			t.Store = &records.Store{DB: d, Now: e.now}
			return take()
		})
	}
	if err != nil {
		return err
	}
	return printTaken(e.stdout, c.Format, c.DryRun, t.Result(), list)
}

// judgedLine is one record of an import, for other programs.
type judgedLine struct {
	ID       string   `json:"id"`
	Name     string   `json:"name"`
	Date     string   `json:"date"`
	LastDate string   `json:"last_date,omitempty"`
	Lat      *float64 `json:"lat"`
	Lon      *float64 `json:"lon"`
	Region   string   `json:"region,omitempty"`
	Group    string   `json:"group,omitempty"`
	Stage    string   `json:"stage,omitempty"`
	LeftOut  string   `json:"left_out,omitempty"`
	Licence  string   `json:"licence"`
	Credit   string   `json:"credit"`
}

func lineOf(j records.Judged) judgedLine {
	l := judgedLine{ID: j.Key, Name: j.Name, Region: string(j.Region), Group: j.Group, Stage: string(j.Stage), LeftOut: string(j.Why), Licence: string(j.Licence), Credit: j.Credit()}
	if !j.Start.IsZero() {
		l.Date = j.Start.Format(time.DateOnly)
		if j.Days() > 1 {
			l.LastDate = j.End.Format(time.DateOnly)
		}
	}
	if !math.IsNaN(j.LatDeg) && !math.IsNaN(j.LonDeg) {
		l.Lat, l.Lon = &j.LatDeg, &j.LonDeg
	}
	return l
}

func printTaken(w io.Writer, format string, dry bool, t records.Taken, list []judgedLine) error {
	if format == "json" {
		return writeJSON(w, struct {
			DryRun bool `json:"dry_run"`
			records.Taken
			Records []judgedLine `json:"records"`
		}{dry, t, list})
	}
	fmt.Fprintf(w, "%s read, %s taken", count(t.Read, "record"), count(t.Taken, "record"))
	if dry {
		fmt.Fprint(w, " (dry run: nothing was kept)")
	} else {
		fmt.Fprintf(w, ": %d new, %d changed, %d unchanged, %d known from another source", t.Added, t.Changed, t.Same, t.Elsewhere)
	}
	fmt.Fprintf(w, "\n%d more are kept as a measure of how much people looked; %d were duplicates\n", t.EffortOnly, t.Twice)
	for _, l := range []struct {
		head string
		list []records.Count
	}{{"Taken, by insect group", t.Groups}, {"Licences of those taken", t.Licences}, {"Left out", t.LeftOut}, {"Names not resolved (never guessed)", t.Unresolved}} {
		if len(l.list) == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s:\n", l.head)
		for i, x := range l.list {
			if i == mostListed {
				fmt.Fprintf(w, "%8s  %d more; --format json lists all\n", "", len(l.list)-i)
				break
			}
			fmt.Fprintf(w, "%8d  %s\n", x.N, x.What)
		}
	}
	return nil
}

// mostListed is how many lines a list of the text output has.
const mostListed = 20

type sightingsFetchCmd struct {
	configFlag
	River  string `help:"Only around this river."`
	Source string `enum:",inaturalist,gbif" default:"" help:"Only from this source: inaturalist or gbif."`
	Format string `enum:"text,json" default:"text" help:"text or json."`
}

func (c sightingsFetchCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	feeds := cfg.RecordFeeds()
	if c.Source != "" {
		feeds = []string{c.Source}
	}
	if len(feeds) == 0 {
		return app.Usagef("no source of open records is switched on; set enabled = true in [feeds.inaturalist] or [feeds.gbif], or give --source")
	}
	rivers := cfg.Rivers
	if c.River != "" {
		r, err := cfg.River(c.River)
		if err != nil {
			return app.Usage(err)
		}
		rivers = []config.River{r}
	}
	catalogue, err := app.LoadCatalogue(cfg)
	if err != nil {
		return app.Usage(err)
	}
	client, err := app.FeedClient(cfg, app.Options{Now: e.now, Sleep: e.sleep})
	if err != nil {
		return err
	}
	return databaseFlag{Config: c.Config}.write(e, func(d *db.DB) error {
		f := sources.Records(cfg, client, d, catalogue, e.now)
		var failed []error
		for _, name := range feeds {
			for _, r := range rivers {
				fetch := f.Occurrences
				if name == inaturalist.FeedName {
					fetch = f.INaturalist
				}
				var list []judgedLine
				if c.Format == "json" {
					f.Each = func(j records.Judged) { list = append(list, lineOf(j)) }
				}
				t, err := fetch(e.ctx, sources.RecordPlace(cfg, r))
				if c.Format == "text" {
					fmt.Fprintf(e.stdout, "%s, %s (%s)\n", r.Name, name, creditOf(name))
				}
				if perr := printTaken(e.stdout, c.Format, false, t, list); perr != nil {
					return perr
				}
				if err != nil {
					failed = append(failed, fmt.Errorf("%s: %w; what came before is kept, and the next fetch goes on", r.Slug, err))
				}
			}
		}
		return errors.Join(failed...)
	})
}

// creditOf is how a source asks to be named.
func creditOf(feed string) string {
	if feed == gbif.FeedName {
		return "GBIF.org, each record under its own licence"
	}
	return "iNaturalist.org, each record under its own licence"
}
