package main

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast/backtest"
)

// visitRungs are what a first visit may know: nothing of the season but the water,
// and what other rivers see of it.
var visitRungs = []backtest.Knowledge{{}, {Others: true}}

// firstVisits prints what somebody gets who was never at a river, against the
// region's book.
func (c backtestCmd) firstVisits(e *env, series []backtest.Series, temp *backtest.Temperatures, opt backtest.Options) error {
	if n := len(backtest.Sites(series)); n < 2 {
		return app.Usagef("--first-visit needs a table of several sites: %s has %d; add a column site", c.Records, n)
	}
	type scored struct {
		Lead   int                   `json:"lead_days"`
		Alone  []backtest.TaxonScore `json:"temperature_only"`
		Others []backtest.TaxonScore `json:"other_rivers_seen"`
	}
	out := []scored{}
	for _, lead := range c.Lead {
		opt.LeadDays = lead
		f, err := backtest.FirstVisits(series, temp, opt)
		if err != nil {
			return err
		}
		if len(f) == 0 {
			return fmt.Errorf("%s: no first visit to score: no taxon has five seasons at one site and some at another", c.Records)
		}
		if c.Format == "json" {
			out = append(out, scored{lead, backtest.Score(f, visitRungs[0]), backtest.Score(f, visitRungs[1])})
			continue
		}
		if err := printVisits(e.stdout, lead, f); err != nil {
			return err
		}
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, out)
	}
	return nil
}

func printVisits(out io.Writer, lead int, forecasts []backtest.Forecast) error {
	fmt.Fprintf(out, "A first visit: each river is left out whole, and forecast %d days before the date in\nthe region's book, the mean of the other rivers' mean dates. (0) knows the water of the\nseason where it is given, (1) also what the other rivers caught before that day.\nIn brackets: by how much the error lies below the book's, in seasons of the same rivers.\n\n", lead)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "taxon\trivers\tseasons\tbook RMSE\t(0)\t(1)\tin 80% range (0)\t(1)\triver's own calendar\tbook there\t")
	for _, of := range backtest.ByTaxon(forecasts) {
		rivers := map[string]bool{}
		var book, own, n float64
		for _, f := range of {
			rivers[f.Site] = true
			if f.Own.SD > 0 {
				own += (f.Own.Mean - f.Observed) * (f.Own.Mean - f.Observed)
				book += (f.Calendar.Mean - f.Observed) * (f.Calendar.Mean - f.Observed)
				n++
			}
		}
		alone, others := backtest.Score(of, visitRungs[0])[0], backtest.Score(of, visitRungs[1])[0]
		there := "-\t-"
		if n > 0 {
			there = fmt.Sprintf("%.1f d\t%.1f d", math.Sqrt(own/n), math.Sqrt(book/n))
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%.1f d\t%.1f d (%.0f%%)\t%.1f d (%.0f%%)\t%.0f%%\t%.0f%%\t%s\t\n", alone.Taxon, len(rivers), len(of), alone.RMSECalendar,
			alone.RMSEModel, 100*(1-alone.RMSEModel/alone.RMSECalendar), others.RMSEModel, 100*(1-others.RMSEModel/others.RMSECalendar),
			100*alone.Coverage80, 100*others.Coverage80, there)
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	first, second := backtest.Summarize(forecasts, visitRungs[0]), backtest.Summarize(forecasts, visitRungs[1])
	if first.Taxa == 0 {
		fmt.Fprintf(out, "\nNo taxon has %d scored seasons: no summary.\n\n", backtest.FewScored)
		return nil
	}
	fmt.Fprintf(out, "\nError below the book's in the median of %d taxa, 90%% intervals by resampling seasons:\n(0) %s; 80%% ranges held %.0f%%\n(1) %s; 80%% ranges held %.0f%%\n\n", first.Taxa,
		gain(first.RMSE), 100*first.Coverage80, gain(second.RMSE), 100*second.Coverage80)
	return nil
}
