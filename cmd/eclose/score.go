package main

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/forecast/backtest/rivers"
)

// scoreCmd judges the outlooks of a running season as sightings arrive.
type scoreCmd struct {
	configFlag
	Season int      `help:"Season (default: this year)." placeholder:"YEAR"`
	Leads  []int    `default:"0,7,14,30,60" help:"Lead times in days."`
	River  []string `aliases:"rivers" help:"Only these rivers." placeholder:"NAME"`
	Out    string   `help:"Also write a report to this folder." placeholder:"DIR" type:"path"`
	Format string   `enum:"text,json" default:"text" help:"Output: text or json."`
}

func (c scoreCmd) Run(e *env) error {
	cfg, catalogue, wanted, err := c.loadRivers(c.River)
	if err != nil {
		return err
	}
	year := c.Season
	if year == 0 {
		year = e.now().Year()
	}
	plan := rivers.Plan{Catalogue: catalogue, Rivers: wanted, First: year, Last: year, Leads: c.Leads, Now: e.now(), Workers: 2}
	if err := plan.Check(); err != nil {
		return app.Usage(err)
	}
	if plan.Sightings, err = app.Sightings(e.ctx, cfg, e.now()); err != nil {
		return err
	}
	flows, err := flowScores(e, cfg, plan.Rivers)
	if err != nil {
		return err
	}
	none := countIn(plan.Sightings, year) == 0
	switch {
	case c.Format == "text":
		if err := printFlowScores(e, flows); err != nil {
			return err
		}
	case none:
		return writeJSON(e.stdout, newScoreJSON(year, nil, flows))
	}
	if none {
		fmt.Fprintf(e.stdout, "Nothing to score: the diary has no sightings from %d for these rivers. Add one with eclose diary add.\n", year)
		return nil
	}
	s := outlookSource{cfg: cfg, catalogue: plan.Catalogue, now: plan.Now}
	if err := s.open(e.ctx, true); err != nil {
		return err
	}
	defer s.close()
	o, err := c.outcome(e, plan, &s)
	if err != nil {
		return err
	}
	r := rivers.Judge(o)
	if c.Format == "json" {
		if c.Out != "" {
			silent := *e
			silent.stdout = io.Discard // the sentences are in the JSON
			if err := writeBacktest(&silent, r, c.Out, s.cfg.Notice, plan.Now); err != nil {
				return err
			}
		}
		return writeJSON(e.stdout, newScoreJSON(year, r, flows))
	}
	if c.Out != "" {
		err = writeBacktest(e, r, c.Out, s.cfg.Notice, plan.Now) // which says the sentences
	} else {
		err = sayAll(e.stdout, r.Sentences)
	}
	if err != nil {
		return err
	}
	return printLeads(e, r)
}

// printLeads prints the scores by lead, if there are any.
func printLeads(e *env, r *rivers.Report) error {
	if len(r.Of("lead")) == 0 {
		return nil
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "\nlead, days\tsightings\tBrier score\tcalendar\tplain calendar\tlast year\t")
	for _, x := range r.Of("lead") {
		fmt.Fprintf(w, "%d\t%d\t%s\t%s\t%s\t%s\t\n", x.Lead, x.N, scoreText(x.Model, 3), scoreText(x.Calendar, 3), scoreText(x.Plain, 3), scoreText(x.Last, 3))
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing scores: %w", err)
	}
	fmt.Fprintln(e.stdout, "\nlead: days from forecast to sighting. Brier score: mean squared error of the chance\n"+
		"(1 = seen, 0 = not seen); 0 is perfect, always saying 50% scores 0.25.\n"+
		"calendar: recent seasons count more; plain calendar: all past seasons alike.\n"+
		"last year: the calendar shifted to last year's date; - if last year's sightings give\nno date.")
	return nil
}

// scoreJSON is a season's scores for programs. What is unknown is null.
type scoreJSON struct {
	Season    int         `json:"season"`
	Sentences []string    `json:"sentences"`
	Leads     []leadJSON  `json:"leads"`
	Flow      []flowScore `json:"flow"`
}

type leadJSON struct {
	Lead      int      `json:"lead_days"`
	Sightings int      `json:"sightings"`
	Brier     *float64 `json:"brier"`
	Calendar  *float64 `json:"brier_calendar"`
	Plain     *float64 `json:"brier_plain_calendar"`
	Last      *float64 `json:"brier_last_year"`
}

func newScoreJSON(year int, r *rivers.Report, flows []flowScore) scoreJSON {
	out := scoreJSON{Season: year, Sentences: []string{}, Leads: []leadJSON{}, Flow: flows}
	if flows == nil {
		out.Flow = []flowScore{}
	}
	if r == nil {
		return out
	}
	out.Sentences = append(out.Sentences, r.Sentences...)
	known := func(v float64) *float64 {
		if math.IsNaN(v) {
			return nil
		}
		return &v
	}
	for _, x := range r.Of("lead") {
		out.Leads = append(out.Leads, leadJSON{x.Lead, x.N, known(x.Model), known(x.Calendar), known(x.Plain), known(x.Last)})
	}
	return out
}

// sayAll prints sentences, each a paragraph of lines that fit a terminal.
func sayAll(w io.Writer, sentences []string) error {
	for _, s := range sentences {
		if _, err := fmt.Fprintln(w, forecast.Wrap(s, 80)); err != nil {
			return fmt.Errorf("printing: %w", err)
		}
	}
	return nil
}

// outcome judges the outlooks as they were issued; where none of the season was
// kept, outlooks made anew from what was known, and says so.
func (c scoreCmd) outcome(e *env, plan rivers.Plan, s *outlookSource) (*rivers.Outcome, error) {
	if s.archive != nil {
		from := time.Date(plan.First-1, 7, 1, 0, 0, 0, 0, time.UTC)
		for _, r := range plan.Rivers {
			heads, err := s.archive.List(e.ctx, r.Slug, from, plan.Now)
			if err != nil {
				return nil, err
			}
			if len(heads) == 0 {
				continue
			}
			o, missing, err := rivers.ScoreIssued(e.ctx, plan, s.archive, archive.ErrNotFound)
			if err == nil && missing > 0 {
				fmt.Fprintf(e.stderr, "eclose: %d sightings not scored: no forecast had been issued in time\n", missing)
			}
			return o, err
		}
	}
	e.note("no saved forecasts for this season (eclose serve saves them); reissuing from data known at the time, with catalogue values")
	return rivers.Run(e.ctx, plan, rivers.Stored{Store: s.store, Now: plan.Now})
}

func countIn(xs []forecast.Sighting, year int) int {
	n := 0
	for _, x := range xs {
		if x.Day.Time().Year() == year {
			n++
		}
	}
	return n
}

// scoreText prints a number, or a dash where there is none.
func scoreText(v float64, digits int) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.*f", digits, v)
}

var _ rivers.Kept = (*archive.Archive)(nil)
