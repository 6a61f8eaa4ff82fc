package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast/backtest"
	"example.org/eclose/forecast/verify"
)

// atLead are the forecasts of one lead.
type atLead struct {
	lead      int
	forecasts []backtest.Forecast
}

// records judges the timing model by a table of catches or sightings.
func (c backtestCmd) records(e *env) error {
	if len(c.Lead) == 0 || slices.Min(c.Lead) < 0 || slices.Max(c.Lead) > 180 {
		return app.Usagef("--lead must be 0 to 180 days")
	}
	opt := backtest.Options{PastOnly: c.PastOnly}
	if c.Seasons != "" {
		var err error
		if opt.First, opt.Last, err = seasonRange(c.Seasons); err != nil {
			return app.Usage(err)
		}
	}
	rec, err := readFile(c.Records, e.stdin, backtest.ReadRecords)
	if err != nil {
		return fmt.Errorf("reading records: %w", err)
	}
	temp, err := c.temperatures(e)
	if err != nil {
		return err
	}
	if rec.Words {
		c.MinCount = math.Min(c.MinCount, 5)
	}
	series := rec.Build(c.MinCount)
	switch {
	case c.Daily:
		return c.daily(e, series, temp, opt)
	case c.FirstVisit:
		return c.firstVisits(e, series, temp, opt)
	}
	var all []atLead
	for _, lead := range c.Lead {
		opt.LeadDays = lead
		f, err := backtest.Run(series, temp, opt)
		if err != nil {
			return fmt.Errorf("hindcasts at a lead of %d days: %w", lead, err)
		}
		if len(f) == 0 {
			return fmt.Errorf("%s: nothing to score: no taxon has five seasons with at least %g animals", c.Records, c.MinCount)
		}
		all = append(all, atLead{lead, f})
	}
	if temp != nil && !temp.AnnualOnly && !slices.ContainsFunc(all, func(s atLead) bool { return byTemperature(s.forecasts) > 0 }) {
		fmt.Fprintln(e.stderr, "eclose: temperature was not used: the fit needs each day of the year in some season, and the forecast season at least 90% of the days from 1 January to the issue date")
	}
	if err := c.print(e, all); err != nil || c.Format == "json" || c.PerForecast || len(backtest.Sites(series)) < 2 {
		return err
	}
	return c.firstVisits(e, series, temp, opt)
}

// daily scores the chance of each visit.
func (c backtestCmd) daily(e *env, series []backtest.Series, temp *backtest.Temperatures, opt backtest.Options) error {
	if len(c.Lead) != 1 {
		return app.Usagef("--daily takes one --lead")
	}
	opt.LeadDays = c.Lead[0]
	f, err := backtest.Run(series, temp, opt)
	if err != nil {
		return fmt.Errorf("hindcasts at a lead of %d days: %w", opt.LeadDays, err)
	}
	scores, err := backtest.Daily(f, c.knowledge())
	if err != nil {
		return err
	}
	if len(scores) == 0 {
		return fmt.Errorf("%s: nothing to score: no taxon has five seasons with at least %g animals", c.Records, c.MinCount)
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, scores)
	}
	fmt.Fprintf(e.stdout, "Chance of each visit, issued %d days before the taxon's calendar date. The reference\nis each taxon's base rate: the share of such visits in the seasons of the fit.\n", opt.LeadDays)
	for _, s := range scores {
		fmt.Fprintf(e.stdout, "\nAt least %d animals: %d visits, Brier score %.4f, base rate %.4f, skill %s\n", s.Threshold, s.Visits, s.Brier, s.BrierBase, gain(s.Skill))
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
		fmt.Fprintln(w, "forecast\tobserved\tif honest, 90%\tvisits\t")
		for _, r := range s.Reliability {
			fmt.Fprintf(w, "%.0f%%\t%.0f%%\t%.0f to %.0f%%\t%d\t\n", 100*r.P, 100*r.Frequency(), 100*r.Low, 100*r.High, r.N)
		}
		if err := w.Flush(); err != nil {
			return fmt.Errorf("printing: %w", err)
		}
	}
	return nil
}

// temperatures reads the tables of water and air.
func (c backtestCmd) temperatures(e *env) (*backtest.Temperatures, error) {
	var water, air *backtest.Temperatures
	var err error
	if c.Water != "" {
		if water, err = readFile(c.Water, e.stdin, backtest.ReadWater); err != nil {
			return nil, fmt.Errorf("reading water temperatures: %w", err)
		}
	}
	if c.Air != "" {
		if air, err = readFile(c.Air, e.stdin, backtest.ReadAir); err != nil {
			return nil, fmt.Errorf("reading air temperatures: %w", err)
		}
	}
	for _, t := range []*backtest.Temperatures{water, air} {
		switch {
		case t == nil:
		case t.AnnualOnly:
			fmt.Fprintln(e.stderr, "eclose: temperature ignored: it has at most one value a year, known only after the year ends")
		case t.Repeated > 0:
			fmt.Fprintf(e.stderr, "eclose: %d days have several temperatures; using their mean (add a site column to keep streams separate)\n", t.Repeated)
		}
	}
	if water == nil && air == nil {
		e.note("no temperature given; forecasting from dates and catches only")
	}
	return water.Or(air), nil
}

// byTemperature counts the forecasts that used temperature.
func byTemperature(forecasts []backtest.Forecast) int {
	n := 0
	for _, f := range forecasts {
		if f.Thermal {
			n++
		}
	}
	return n
}

func (c backtestCmd) print(e *env, all []atLead) error {
	k := c.knowledge()
	switch {
	case c.PerForecast:
		fmt.Fprintln(e.stdout, "lead,taxon,site,year,issue_day,observed_day,model_day,low80_day,high80_day,calendar_day,recent_calendar_day")
		for _, s := range all {
			for _, f := range s.forecasts {
				lo, hi := f.By[k].Interval(0.8)
				fmt.Fprintf(e.stdout, "%d,%q,%q,%d,%d,%.0f,%.1f,%.1f,%.1f,%.1f,%.1f\n", s.lead, f.Taxon, f.Site, f.Year, f.Issue, f.Observed, f.By[k].Mean, lo, hi, f.Calendar.Mean, f.Recent.Mean)
			}
		}
		return nil
	case c.Format == "json" && len(all) == 1:
		return writeJSON(e.stdout, backtest.Score(all[0].forecasts, k))
	case c.Format == "json":
		type scored struct {
			Lead int                   `json:"lead_days"`
			Taxa []backtest.TaxonScore `json:"taxa"`
		}
		var out []scored
		for _, s := range all {
			out = append(out, scored{s.lead, backtest.Score(s.forecasts, k)})
		}
		return writeJSON(e.stdout, out)
	}
	for _, s := range all {
		c.explain(e.stdout, s.lead, s.forecasts)
		if err := printTaxa(e.stdout, s.forecasts); err != nil {
			return err
		}
		if err := printSummary(e.stdout, s.forecasts); err != nil {
			return err
		}
	}
	return nil
}

// rungNames say what a forecast knew, in the order of backtest.Rungs.
var rungNames = []string{"(a) calendar and temperature", "(b) and other insects seen", "(c) and this one seen"}

// explain says when the forecasts were issued and what they knew.
func (c backtestCmd) explain(w io.Writer, lead int, forecasts []backtest.Forecast) {
	seasons := "other seasons"
	if c.PastOnly {
		seasons = "earlier seasons"
	}
	fmt.Fprintf(w, "Median date of each season, forecast %d days before the taxon's mean date in the\n%s, and fitted on those only.\n", lead, seasons)
	switch n := byTemperature(forecasts); {
	case n == len(forecasts):
		fmt.Fprintln(w, "Temperature is known to the issue date; after it, the mean of those seasons is used.")
	case n > 0:
		fmt.Fprintf(w, "Temperature is known to the issue date in %d of %d forecasts; after it, the mean of\nthose seasons is used.\n", n, len(forecasts))
	default:
		fmt.Fprintln(w, "Temperature is unknown.")
	}
	fmt.Fprintln(w, "No date of the insect catalogue enters.")
	fmt.Fprintln(w, "(a) knows no catch of the season, (b) those of all other taxa before the issue date,\n(c) those of the taxon itself too.")
	fmt.Fprintln(w)
}

// printTaxa prints a line for each taxon: its error by the calendar, and by how
// much each rung's error lies below it.
func printTaxa(out io.Writer, forecasts []backtest.Forecast) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "taxon\tseasons\tcalendar RMSE\t(a)\t(b)\t(c)\t90% of (c)\tin 80% range (a)\t(b)\t(c)\t")
	few := false
	for _, of := range backtest.ByTaxon(forecasts) {
		scores := make([]backtest.TaxonScore, len(backtest.Rungs))
		for i, k := range backtest.Rungs {
			scores[i] = backtest.Score(of, k)[0]
		}
		s := scores[0]
		mark := ""
		if s.Seasons < verify.FewSeasons {
			mark, few = "*", true
		}
		g := backtest.GainBySeason(of, backtest.Rungs[2])
		fmt.Fprintf(w, "%s\t%d%s\t%.1f d", s.Taxon, s.Seasons, mark, s.RMSECalendar)
		for _, x := range scores {
			fmt.Fprintf(w, "\t%.0f%%", 100*(1-x.RMSEModel/x.RMSECalendar))
		}
		fmt.Fprintf(w, "\t%s", percentRange(g))
		for _, x := range scores {
			fmt.Fprintf(w, "\t%.0f%%", 100*x.Coverage80)
		}
		fmt.Fprintln(w, "\t")
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	if few {
		fmt.Fprintf(out, "* fewer than %d seasons: too few to demonstrate anything.\n", verify.FewSeasons)
	}
	fmt.Fprintln(out)
	return nil
}

func percentRange(i verify.Interval) string {
	if math.IsNaN(i.Low) {
		return "-"
	}
	return fmt.Sprintf("%.0f to %.0f%%", 100*i.Low, 100*i.High)
}

// printSummary prints what each rung gains in the median taxon, against both
// calendars.
func printSummary(out io.Writer, forecasts []backtest.Forecast) error {
	first := backtest.Summarize(forecasts, backtest.Rungs[0])
	if first.Taxa == 0 {
		fmt.Fprintf(out, "No taxon has %d scored seasons: no summary.\n\n", backtest.FewScored)
		return nil
	}
	fmt.Fprintf(out, "Error below the calendar's in the median of %d taxa with at least %d scored seasons\n(%d of them before 24 July), 90%% intervals by resampling seasons:\n", first.Taxa, backtest.FewScored, first.SpringTaxa)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\tRMSE\tCRPS\tspring RMSE\trecent years' calendar\tworse by >3%\t80% range held")
	for i, k := range backtest.Rungs {
		s := backtest.Summarize(forecasts, k)
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%d\t%.0f%%\n", rungNames[i], gain(s.RMSE), gain(s.CRPS), gain(s.Spring), gain(s.RMSERecent), s.Worse, 100*s.Coverage80)
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	fmt.Fprintln(out)
	return nil
}

func gain(i verify.Interval) string {
	if math.IsNaN(i.Value) {
		return "-"
	}
	return strings.TrimSpace(fmt.Sprintf("%.1f%% (%s)", 100*i.Value, percentRange(i)))
}
