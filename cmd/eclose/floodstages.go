package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// renewFloodStages asks for the flood stages of the USGS gauges where what is
// known is old. A service that fails is reported and is no failure: the heights change
// every few years.
func renewFloodStages(e *env, cfg *config.Config, w io.Writer) error {
	c, err := app.FeedClient(cfg, app.Options{Now: e.now, Sleep: e.sleep})
	if err != nil {
		return err
	}
	source := sources.FloodStages(cfg, c)
	if source == nil {
		return nil
	}
	files, err := series.OpenFiles(e.ctx, cfg.StoreURL())
	if err != nil {
		return err
	}
	defer files.Close() //nolint:errcheck // every write is already on the disk
	for _, r := range cfg.Rivers {
		for _, site := range sources.USGSSites(r) {
			known, err := nwps.Load(e.ctx, files, site)
			if err != nil {
				return err
			}
			if !known.Due(e.now()) {
				continue
			}
			if known, err = source.Renew(e.ctx, files, site, e.now()); err != nil {
				return err
			}
			says := floodStageWords(known.Categories(), known.Note, app.Units(cfg))
			if known.Problem != "" {
				says = "not read: " + known.Problem
			}
			fmt.Fprintf(w, "%-14s %-11s %-22s flood stages: %s\n", r.Slug, nwps.FeedName, site, says)
		}
	}
	return nil
}

// categoryNames are the flood categories, in order.
var categoryNames = []string{"action", "minor", "moderate", "major"}

// floodStageWords lists the flood categories of a gauge; note says why there are
// none.
func floodStageWords(c nwps.Categories, note string, u wading.Units) string {
	var out []string
	for i, name := range categoryNames {
		var at []string
		if !math.IsNaN(c.StageM[i]) {
			at = append(at, u.Length(c.StageM[i]))
		}
		if !math.IsNaN(c.FlowM3s[i]) {
			at = append(at, u.Flow(c.FlowM3s[i]))
		}
		if at != nil {
			out = append(out, name+" "+strings.Join(at, " or "))
		}
	}
	switch {
	case out == nil && note != "":
		return "none, " + note
	case out == nil:
		return "none"
	}
	return strings.Join(out, ", ")
}

// floodStages compares the flood stages of the config with the published ones.
func (x *exam) floodStages(s *series.Store, c config.River, r forecast.River) error {
	for _, site := range sources.USGSSites(c) {
		record, err := nwps.Load(x.e.ctx, s.Files(), site)
		if err != nil {
			return err
		}
		what := fmt.Sprintf("%s, flood stages of %s", c.Slug, site)
		published, u := record.Categories(), app.Units(x.cfg)
		says := fmt.Sprintf("%s (%s, read %s)", floodStageWords(published, record.Note, u), record.Source, record.Fetched.UTC().Format(time.DateOnly))
		var differ []string
		for i, h := range forecast.StagesDiffer(r.Flood, published) {
			differ = append(differ, fmt.Sprintf("%s %s in the config, %s published", categoryNames[i], u.Length(h[0]), u.Length(h[1])))
		}
		slices.Sort(differ)
		measured := slices.ContainsFunc(c.Gauges, func(g config.Gauge) bool { return slices.Contains(g.Variables, string(ingest.GaugeHeight)) })
		switch {
		case record.Fetched.IsZero() && record.Problem != "":
			x.add(noted, what, "Set [river.flood] if you know them.", "%s", record.Problem)
		case !published.Any():
		case len(differ) > 0:
			x.add(noted, what, "The config's heights are used. Correct or remove [river.flood] if they are out of date.", "%s. Published: %s", strings.Join(differ, "; "), says)
		case !measured && !slices.ContainsFunc(published.FlowM3s[:], func(q float64) bool { return q > 0 }):
			x.add(noted, what, "Add \"gauge_height\" to the gauge's variables; without it floods are not recognised by them.", "%s", says)
		default:
			x.add(good, what, "", "%s", says)
		}
	}
	return nil
}
