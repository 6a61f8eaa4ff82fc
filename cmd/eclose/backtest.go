package main

import (
	"io"
	"os"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast/backtest"
)

// backtestCmd judges the timing model by a trap or sighting record, or the
// outlooks of a config's rivers by its diary.
type backtestCmd struct {
	riversBacktest `embed:""`

	Records     string  `placeholder:"FILE" help:"CSV with columns date, taxon and count (a number, or none, few, many); hours and site are optional. Use - for stdin."`
	Water       string  `placeholder:"FILE" help:"CSV of daily mean water temperature with columns date and temp_c; site is optional."`
	Air         string  `placeholder:"FILE" help:"CSV of daily mean air temperature, used where no water was measured."`
	Lead        []int   `default:"14" help:"Lead times in days before the taxon's calendar date."`
	NoCatches   bool    `help:"Ignore the taxon's own catches earlier in the season."`
	NoOthers    bool    `help:"Ignore the catches of all other taxa in the season."`
	PastOnly    bool    `help:"Fit on earlier seasons only; by default, on all other seasons."`
	MinCount    float64 `aliases:"least" default:"40" help:"Fewest animals for a season to count; use 5 for none/few/many records."`
	PerForecast bool    `aliases:"each" help:"Print each forecast as CSV instead of scores."`
	FirstVisit  bool    `help:"With several sites: leave each out whole, and score what a first visit to it gets."`
	Daily       bool    `help:"Score the chance of each visit instead of the median dates."`
	Format      string  `enum:"text,json" default:"text" help:"Output: text or json."`
}

func (c backtestCmd) Run(e *env) error {
	if (c.Config == "") == (c.Records == "") {
		return app.Usagef("give --config to backtest rivers, or --records to backtest a table of catches or sightings")
	}
	if c.Config != "" {
		return c.rivers(e)
	}
	return c.records(e)
}

// knowledge is what the flags let a forecast know of the season.
func (c backtestCmd) knowledge() backtest.Knowledge {
	return backtest.Knowledge{Others: !c.NoOthers, Catches: !c.NoCatches}
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
