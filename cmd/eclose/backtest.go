package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"text/tabwriter"

	"example.org/eclose/forecast/backtest"
	"example.org/eclose/forecast/verify"
)

// backtestCmd judges the timing model by a trap or sighting record, or the
// outlooks of a config's rivers by its diary.
type backtestCmd struct {
	riversBacktest `embed:""`

	Records     string  `placeholder:"FILE" help:"CSV with columns date, taxon and count (a number, or none, few, many); hours and site are optional. Use - for stdin."`
	Water       string  `placeholder:"FILE" help:"CSV of daily mean water temperature with columns date and temp_c; site is optional."`
	Lead        []int   `default:"14" help:"Lead times in days before the taxon's calendar date."`
	NoCatches   bool    `help:"Ignore the taxon's own catches earlier in the season."`
	NoOthers    bool    `help:"Ignore the dates of taxa already over for the season."`
	PastOnly    bool    `help:"Fit on earlier seasons only; by default, on all other seasons."`
	MinCount    float64 `aliases:"least" default:"40" help:"Fewest animals for a season to count; use 5 for none/few/many records."`
	PerForecast bool    `aliases:"each" help:"Print each forecast as CSV instead of scores."`
	Format      string  `enum:"text,json" default:"text" help:"Output: text or json."`
}

func (c backtestCmd) water(e *env) (*backtest.Water, error) {
	if c.Water == "" {
		return nil, nil
	}
	w, err := readFile(c.Water, e.stdin, backtest.ReadWater)
	if err != nil {
		return nil, fmt.Errorf("reading water temperatures: %w", err)
	}
	return w, nil
}

func (c backtestCmd) Run(e *env) error {
	if (c.Config == "") == (c.Records == "") {
		return usagef("give --config to backtest rivers, or --records to backtest a table of catches or sightings")
	}
	if c.Config != "" {
		return c.rivers(e)
	}
	if len(c.Lead) == 0 || slices.Min(c.Lead) < 0 || slices.Max(c.Lead) > 180 {
		return usagef("--lead must be 0 to 180 days")
	}
	rec, err := readFile(c.Records, e.stdin, backtest.ReadRecords)
	if err != nil {
		return fmt.Errorf("reading records: %w", err)
	}
	water, err := c.water(e)
	if err != nil {
		return err
	}
	if rec.Words {
		c.MinCount = math.Min(c.MinCount, 5)
	}
	series := rec.Build(c.MinCount)
	switch {
	case water == nil:
		fmt.Fprintln(e.stderr, "eclose: no water temperature given; forecasting from dates and catches only")
	case water.AnnualOnly:
		fmt.Fprintln(e.stderr, "eclose: water temperature ignored: it has at most one value a year, known only after the year ends")
	case water.Repeated > 0:
		fmt.Fprintf(e.stderr, "eclose: %s: %d days have several temperatures; using their mean (add a site column to keep streams separate)\n", c.Water, water.Repeated)
	}
	type scored struct {
		lead  int
		cases []backtest.Forecast
	}
	var all []scored
	for _, lead := range c.Lead {
		f, err := backtest.Run(series, water, backtest.Options{LeadDays: lead, Catches: !c.NoCatches, Others: !c.NoOthers, PastOnly: c.PastOnly})
		if err != nil {
			return fmt.Errorf("hindcasts at a lead of %d days: %w", lead, err)
		}
		if len(f) == 0 {
			return fmt.Errorf("%s: nothing to score: no taxon has four seasons with at least %g animals", c.Records, c.MinCount)
		}
		all = append(all, scored{lead, f})
	}
	if water != nil && !water.AnnualOnly && !slices.ContainsFunc(all, func(s scored) bool { return byWater(s.cases) > 0 }) {
		fmt.Fprintln(e.stderr, "eclose: water temperature was not used: a taxon needs three seasons at least 90% complete from 1 January to its date, and the forecast season complete from 1 January to the issue date")
	}
	switch {
	case c.PerForecast:
		fmt.Fprintln(e.stdout, "lead,taxon,site,year,issue_day,observed_day,model_day,low80_day,high80_day,calendar_day")
		for _, s := range all {
			for _, f := range s.cases {
				lo, hi := f.Interval(0.8)
				fmt.Fprintf(e.stdout, "%d,%q,%q,%d,%d,%.0f,%.1f,%.1f,%.1f,%.1f\n", s.lead, f.Taxon, f.Site, f.Year, f.Issue, f.Observed, f.Model, lo, hi, f.Calendar)
			}
		}
		return nil
	case c.Format == "json" && len(all) == 1:
		return writeJSON(e.stdout, backtest.Score(all[0].cases))
	case c.Format == "json":
		type atLead struct {
			Lead int                   `json:"lead_days"`
			Taxa []backtest.TaxonScore `json:"taxa"`
		}
		var out []atLead
		for _, s := range all {
			out = append(out, atLead{s.lead, backtest.Score(s.cases)})
		}
		return writeJSON(e.stdout, out)
	}
	for _, s := range all {
		c.explain(e.stdout, s.lead, s.cases)
		if err := printScores(e.stdout, s.cases); err != nil {
			return err
		}
	}
	return nil
}

// byWater counts the forecasts that used water temperature.
func byWater(cases []backtest.Forecast) int {
	n := 0
	for _, f := range cases {
		if f.Water {
			n++
		}
	}
	return n
}

// explain says when the forecasts were issued and what they knew.
func (c backtestCmd) explain(w io.Writer, lead int, cases []backtest.Forecast) {
	fmt.Fprintf(w, "Median date of each season, forecast %d days before the taxon's mean date in the\n", lead)
	if c.PastOnly {
		fmt.Fprintln(w, "earlier seasons, and fitted on those only. Information used, up to the issue date:")
	} else {
		fmt.Fprintln(w, "other seasons, and fitted on those only. Information used, up to the issue date:")
	}
	switch n := byWater(cases); {
	case n == len(cases):
		fmt.Fprintln(w, "- water temperature; after the issue date, the mean of the other seasons")
	case n > 0:
		fmt.Fprintf(w, "- water temperature (in %d of %d forecasts); after the issue date, the mean of\n  the other seasons\n", n, len(cases))
	}
	if !c.NoOthers {
		fmt.Fprintln(w, "- dates of taxa usually over by then")
	}
	if !c.NoCatches {
		fmt.Fprintln(w, "- the taxon's own catches so far (omit with --no-catches)")
	}
	fmt.Fprintln(w)
}

// printScores prints a line for each taxon and a summary of those with enough
// seasons.
func printScores(out io.Writer, cases []backtest.Forecast) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "taxon\tseasons\tRMSE\tcalendar\treduction\t90% interval\tCRPS\tcalendar\tin 80% range\t")
	scores := backtest.Score(cases)
	var rmse, crps []float64
	worse, inside, n := 0, 0.0, 0.0
	for _, s := range scores {
		years, model, calendar := backtest.SquaredErrors(cases, s.Taxon)
		skill := verify.BootstrapBySeason(years, backtest.RMSEReduction(model, calendar), 0.9, 1000, 1)
		shown := ""
		if s.Seasons < verify.FewSeasons {
			shown = " *"
		}
		fmt.Fprintf(w, "%s\t%d\t%.1f\t%.1f\t%.0f%%\t%.0f to %.0f%s\t%.1f\t%.1f\t%.0f%%\t\n", s.Taxon, s.Seasons, s.RMSEModel, s.RMSECalendar,
			100*skill.Value, 100*skill.Low, 100*skill.High, shown, s.CRPSModel, s.CRPSCalendar, 100*s.Coverage80)
		if s.Seasons >= verify.FewSeasons {
			rmse, crps = append(rmse, s.RMSEModel/s.RMSECalendar), append(crps, s.CRPSModel/s.CRPSCalendar)
			if s.RMSEModel > 1.03*s.RMSECalendar {
				worse++
			}
			inside += s.Coverage80 * float64(s.Seasons)
			n += float64(s.Seasons)
		}
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	fmt.Fprintln(out)
	if len(rmse) > 0 {
		fmt.Fprintf(out, "%d taxa with at least %d seasons: RMSE %.0f%% below the calendar's in the median taxon\n(CRPS %.0f%% below); more than 3%% worse in %d. The 80%% range held %.0f%% of dates.\n",
			len(rmse), verify.FewSeasons, 100*(1-verify.Quantile(rmse, 0.5)), 100*(1-verify.Quantile(crps, 0.5)), worse, 100*inside/n)
	}
	if len(rmse) < len(scores) {
		fmt.Fprintf(out, "* fewer than %d seasons: too few to demonstrate anything.\n", verify.FewSeasons)
	}
	fmt.Fprintln(out)
	return nil
}

// readFile opens a file, or standard input for -, and reads it.
func readFile[T any](name string, stdin io.Reader, read func(string, io.Reader) (T, error)) (T, error) {
	if name == "-" {
		return read("standard input", stdin)
	}
	f, err := os.Open(name)
	if err != nil {
		var none T
		return none, err
	}
	defer func() { _ = f.Close() }()
	return read(name, f)
}
