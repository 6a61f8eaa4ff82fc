package main

import (
	"encoding/json"
	"fmt"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

type cautionCmd struct {
	River string `arg:"" help:"The river, by its name in the config."`
	configFlag
	Format string `default:"text" enum:"text,json" help:"One of ${enum}."`
}

// Run says what the river asks of somebody who wades, as far as its gauges
// tell. It reads the store only: fetch first.
func (c cautionCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	rivers, err := app.Rivers(cfg, []string{c.River})
	if err != nil {
		return app.Usage(err)
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	in, err := forecast.CautionInput(e.ctx, store, rivers[0], e.now())
	if err != nil {
		return err
	}
	caution := wading.Assess(in)
	if c.Format == "json" {
		enc := json.NewEncoder(e.stdout)
		enc.SetIndent("", " ")
		return enc.Encode(caution.View(app.Units(cfg)))
	}
	fmt.Fprintf(e.stdout, "%s, %s\n%s", rivers[0].Name, e.now().UTC().Format("2 January 2006 15:04 UTC"), caution.Format(app.Units(cfg)))
	if n := rivers[0].Notices; n != "" {
		fmt.Fprintf(e.stdout, "Local notices: %s\n", n)
	}
	return nil
}
