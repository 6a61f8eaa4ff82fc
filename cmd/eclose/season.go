package main

import (
	"fmt"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/db"
)

type seasonCmd struct {
	River string `arg:"" help:"The river, by its name in the config."`
	configFlag
	Out       string `required:"" help:"HTML file to write; prints on one sheet." placeholder:"FILE" type:"path"`
	IssueDate string `help:"The season as forecast at noon local time on this date." placeholder:"YYYY-MM-DD"`
	Members   int    `default:"200" help:"How many possible futures are computed."`
}

func (c seasonCmd) Run(e *env) error {
	only := []string{c.River}
	cfg, catalogue, rivers, err := c.loadRivers(only)
	if err != nil {
		return err
	}
	outlooks, err := app.IssueAll(e.ctx, cfg, only, c.IssueDate, e.now(), c.Members)
	if err != nil {
		return err
	}
	sheet := pages.Sheet{River: rivers[0], Outlook: outlooks[0], Catalogue: catalogue, Notice: cfg.Notice, Owners: app.Owners(cfg), Units: app.Units(cfg)}
	if sheet.Sightings, err = c.sightings(e, cfg, rivers[0].Slug); err != nil {
		return err
	}
	if err := export.File(c.Out, sheet.Write); err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "Wrote %s. Open it in a browser and print double-sided.\n", c.Out)
	return nil
}

// sightings reads the diary of a river, if there is a database at all: a
// hand-out makes none.
func (c seasonCmd) sightings(e *env, cfg *config.Config, river string) (list []diary.Sighting, err error) {
	err = app.Read(e.ctx, cfg, func(d *db.DB) error {
		if d == nil {
			return nil
		}
		list, err = (&diary.Store{DB: d, Now: e.now}).List(e.ctx, diary.Filter{River: river})
		return err
	})
	return list, err
}
