package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
)

type sightingsShareCmd struct {
	configFlag
	Out   string `default:"-" help:"File to write, - for standard output; put it where neighbours can fetch it." placeholder:"FILE"`
	Leave bool   `help:"Write the file of an installation that leaves: the reader of it forgets what you gave."`
}

// Run writes what neighbours may have: rivers, sightings and pseudonyms.
func (c sightingsShareCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	return databaseFlag{Config: c.Config}.write(e, func(d *db.DB) error {
		key, err := d.Key(e.ctx, "neighbours", e.now())
		if err != nil {
			return err
		}
		var rivers []diary.SharedRiver
		for _, r := range cfg.Rivers {
			rivers = append(rivers, diary.SharedRiver{Slug: r.Slug, Name: r.Name, Lat: r.Lat, Lon: r.Lon, ElevationM: r.Elevation})
		}
		f, err := (&diary.Store{DB: d, Now: e.now}).Share(e.ctx, key, rivers, c.Leave)
		if err != nil {
			return err
		}
		b, err := json.MarshalIndent(f, "", " ")
		if err != nil {
			return fmt.Errorf("sharing sightings: %w", err)
		}
		b = append(b, '\n')
		if c.Out == "-" {
			_, err := e.stdout.Write(b)
			return err
		}
		if err := os.WriteFile(c.Out, b, 0o644); err != nil { //nolint:gosec // it is meant for others
			return fmt.Errorf("sharing sightings: %w", err)
		}
		fmt.Fprintf(e.stdout, "%s of %s in %s; no name or address is in it\n", count(len(f.Sightings), "sighting"), count(len(f.Rivers), "river"), c.Out)
		return nil
	})
}

type sightingsReceiveCmd struct {
	configFlag
	From string `arg:"" help:"A neighbour's file, or its URL."`
}

// Run takes in a neighbour's file.
func (c sightingsReceiveCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	return databaseFlag{Config: c.Config}.write(e, func(d *db.DB) (err error) {
		var f diary.Shared
		var n diary.Imported
		if config.IsURL(c.From) {
			web, err := app.FeedClient(cfg, app.Options{Now: e.now, Sleep: e.sleep})
			if err != nil {
				return err
			}
			if f, n, err = work.ReceiveURL(e.ctx, d, web, c.From, e.now); err != nil {
				return err
			}
		} else {
			b, err := os.ReadFile(c.From)
			if err != nil {
				return app.Usagef("%w; give a file or an https URL", err)
			}
			if f, err = diary.ReadShared(bytes.NewReader(b), e.now()); err != nil {
				return err
			}
			if n, err = work.Receive(e.ctx, d, f, e.now); err != nil {
				return err
			}
		}
		if f.Left {
			fmt.Fprintf(e.stdout, "neighbour %s has left; %d sightings withdrawn\n", f.Installation, n.Revised)
			return nil
		}
		fmt.Fprintf(e.stdout, "neighbour %s: %d added, %d revised or withdrawn, %d unchanged\n", f.Installation, n.Added, n.Revised, n.Unchanged)
		return nil
	})
}

type sightingsForgetCmd struct {
	configFlag
	Neighbour string `arg:"" help:"Pseudonym of the neighbour, or its first six digits or more."`
}

func (c sightingsForgetCmd) Run(e *env) error {
	return databaseFlag{Config: c.Config}.write(e, func(d *db.DB) error {
		err := (&diary.Store{DB: d, Now: e.now}).Forget(e.ctx, c.Neighbour)
		if errors.Is(err, db.ErrNotFound) {
			return app.Usage(err)
		}
		return err
	})
}
