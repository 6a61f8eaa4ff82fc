package main

import (
	"fmt"
	"time"

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
		return writeJSON(e.stdout, struct {
			wading.View
			Warnings []warningJSON `json:"warnings"` // in force, as far as the feed says
		}{caution.View(app.Units(cfg)), warningsJSON(in.Warnings)})
	}
	fmt.Fprintf(e.stdout, "%s, %s\n%s", rivers[0].Name, e.now().UTC().Format("2 January 2006 15:04 UTC"), caution.Format(app.Units(cfg)))
	for _, w := range in.Warnings.List {
		if w.URL != "" {
			fmt.Fprintf(e.stdout, "%s: %s\n", w.Event, w.URL)
		}
	}
	rec, err := forecast.Gather(e.ctx, store, rivers[0], e.now())
	if err != nil {
		return err
	}
	ahead := forecast.LevelsAhead(rec.FlowForecast(rivers[0], levelDays, levelMembers), rec.Issue, caution.Limits, caution.Level, caution.Known, levelDays)
	if len(ahead) == 0 {
		fmt.Fprintf(e.stdout, "Days ahead: unknown. The level can rise at any time.\n")
	} else {
		fmt.Fprintf(e.stdout, "Days ahead, by modelled flow alone (thunder, cold and dam releases are not in it; it can rise at any time):\n")
	}
	for _, line := range forecast.LevelWords(ahead) {
		fmt.Fprintf(e.stdout, "  %s\n", line)
	}
	if n := rivers[0].Notices; n != "" {
		fmt.Fprintf(e.stdout, "Local notices: %s\n", n)
	}
	return nil
}

// warningJSON is an official warning for other programs.
type warningJSON struct {
	Hazard    wading.Hazard `json:"hazard"`
	Event     string        `json:"event"`
	Authority string        `json:"authority"`
	Area      string        `json:"area,omitempty"`
	Severity  string        `json:"severity"`
	Certainty string        `json:"certainty"`
	Onset     time.Time     `json:"onset,omitzero"`
	Expires   time.Time     `json:"expires,omitzero"`
	URL       string        `json:"url,omitempty"`
}

func warningsJSON(in wading.Warnings) []warningJSON {
	out := []warningJSON{}
	for _, w := range in.List {
		out = append(out, warningJSON{w.Hazard, w.Event, w.Authority, w.Area, w.Severity, w.Certainty, w.Onset, w.Expires, w.URL})
	}
	return out
}

// levelDays is how many days ahead the caution is shown, levelMembers by how many possible
// flows. Our own defaults.
const levelDays, levelMembers = 7, 200
