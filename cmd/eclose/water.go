package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast"
	"example.org/eclose/model/watertemp"
)

// waterCmd fits the water temperature model to a river of the config, or to a
// plain table, and scores it on days that the fit has not seen.
type waterCmd struct {
	River     string `arg:"" optional:"" help:"River name or slug from the config."`
	Config    string `env:"ECLOSE_CONFIG" placeholder:"FILE" help:"The TOML file that names the river and the store."`
	CSV       string `name:"csv" placeholder:"FILE" help:"Use a CSV instead of a river: columns date, air_c and optionally water_c and flow_m3s; - for stdin. Empty means missing."`
	FitUntil  string `placeholder:"DATE" help:"Fit on days before this date, test from it on. Default for a river: one year before the latest day. Not needed for a river without water temperature readings."`
	IssueDate string `placeholder:"DATE" help:"River only: use data known on this date."`
	Hindcast  bool   `help:"Hindcast through the test period and score by lead time."`
	Out       string `placeholder:"FILE" type:"path" help:"Chart one year to this .svg or .html file."`
	Format    string `enum:"text,json" default:"text" help:"Output: text or json."`
	Seed      uint64 `default:"1" help:"Random seed for the fit."`
}

// waterLeads are the leads that a hindcast is scored at, days.
var waterLeads = []int{1, 3, 7, 14, 30, 60}

// waterFit is a record with its model and what came of it.
type waterFit struct {
	name   string // of the river or the file
	in     watertemp.Input
	cut    int // day number of the first day of the check
	model  watertemp.Model
	report watertemp.Report
	// fallback says in words why the model is not one fitted here; "" if it is.
	fallback   string
	best       watertemp.Model // where it is not: by all of the record, the part behind the check too
	seconds    float64
	leads      []watertemp.LeadScore
	warm       []forecast.WarmDay
	fishToday  string
	fahrenheit bool
}

func (c waterCmd) Run(e *env) error {
	if err := c.check(); err != nil {
		return err
	}
	var f *waterFit
	var err error
	if c.CSV != "" {
		f, err = c.ofTable(e)
	} else {
		f, err = c.ofRiver(e)
	}
	if err != nil {
		return err
	}
	if c.Hindcast {
		f.leads = f.model.Hindcast(f.in, watertemp.Hindcasts{From: f.cut, Every: 5, Leads: waterLeads, Members: 50, Seed: c.Seed})
	}
	if c.Out != "" {
		if err := f.draw(c.Out); err != nil {
			return err
		}
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, f.values())
	}
	if err := f.print(e.stdout); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	if c.Out != "" {
		fmt.Fprintf(e.stdout, "\nWritten: %s\n", c.Out)
	}
	return nil
}

func (c waterCmd) check() error {
	switch {
	case c.CSV == "" && c.River == "":
		return app.Usagef("give a river, or --csv FILE")
	case c.CSV != "" && c.River != "":
		return app.Usagef("give a river or --csv, not both")
	case c.CSV != "" && c.IssueDate != "":
		return app.Usagef("--issue-date works only with a river; a CSV has no retrieval dates")
	case c.River != "" && c.Config == "":
		return app.Usagef("a river needs --config FILE")
	case c.Out != "" && !drawable(c.Out):
		return app.Usagef("--out %s: name a file that ends in .svg or .html", c.Out)
	}
	return nil
}

func (c waterCmd) ofTable(e *env) (*waterFit, error) {
	f := &waterFit{name: c.CSV}
	var err error
	if f.in, err = openWater(e, c.CSV); err != nil {
		return nil, err
	}
	f.cut = f.in.Day0 + len(f.in.Air)
	switch {
	case c.FitUntil != "":
		if f.cut, err = c.fitUntil(); err == nil {
			err = c.within(f)
		}
	case watertemp.Enough(f.in) == nil:
		err = app.Usagef("--csv needs --fit-until DATE (first day of the test period)")
	}
	if err != nil {
		return nil, err
	}
	began := e.now()
	f.model, f.report, err = watertemp.Evaluate(f.in, f.cut, watertemp.Options{Seed: c.Seed})
	if little, ok := tooLittle(err); ok && knownDays(f.in.Until(f.cut).Air) >= leastAir {
		f.useRegional(little, nil, "")
		f.fallback += " Using what is known of rivers similar in air and flow."
		err = nil
	}
	f.seconds = e.now().Sub(began).Seconds()
	if err != nil {
		return nil, fmt.Errorf("%s before %s: %w", c.CSV, dayDate(f.cut), err)
	}
	return f, nil
}

func (c waterCmd) fitUntil() (int, error) {
	t, err := time.Parse(time.DateOnly, c.FitUntil)
	if err != nil {
		return 0, app.Usagef("--fit-until: %w", app.NoDate(c.FitUntil))
	}
	return dayNumber(t), nil
}

// within refuses a cut that leaves nothing on one of its sides.
func (c waterCmd) within(f *waterFit) error {
	if f.cut <= f.in.Day0 || f.cut >= f.in.Day0+len(f.in.Air) {
		return app.Usagef("--fit-until %s leaves nothing to fit or test: the record runs from %s to %s", dayDate(f.cut),
			dayDate(f.in.Day0), dayDate(f.in.Day0+len(f.in.Air)-1))
	}
	return nil
}

func (f *waterFit) values() map[string]any {
	m := &f.model
	out := map[string]any{
		"fit_until": dayDate(f.cut), "grade": m.Grade.Words(), "regime": m.Regime, "parameters": f.words(),
		"flow_used": m.MeanFlow > 0, "fitted_years": m.Years, "error_sd_c": m.Error.SD,
		"fit": f.report.Fit, "check": f.report.Check, "seconds": f.seconds,
	}
	if f.fallback != "" {
		out["fallback"], out["likeness"] = f.fallback, f.best.Likeness()
		out["expected"], out["daily"] = f.expected(), f.daily()
	}
	if f.leads != nil {
		out["hindcast"] = f.leads
	}
	if f.warm != nil {
		lines := forecast.WarmLines()
		who := make([]string, len(lines))
		for i, l := range lines {
			who[i] = l.Who
		}
		out["warm_water"] = map[string]any{"modelled": true, "lines": who, "days": f.warm, "today": f.fishToday, "caution": forecast.StandingCaution}
	}
	out["file"] = f.name
	return out
}

// words says what the numbers of a fit mean; of a model that was not fitted here
// they say nothing.
func (f *waterFit) words() []string {
	if f.fallback != "" {
		return []string{}
	}
	return f.model.Words()
}

func (f *waterFit) print(w io.Writer) error {
	m := &f.model
	fmt.Fprintf(w, "%s\n", f.name)
	if f.fallback != "" {
		fmt.Fprintf(w, "%s\nModel: %s.\n%s\n", forecast.Wrap(f.fallback, 96), f.best.Grade.Words(), forecast.Wrap(f.best.Likeness(), 96))
		fmt.Fprintf(w, "Expected model error: %.1f °C (standard deviation).\n\n", f.best.Error.SD)
		if err := f.printExpected(w); err != nil || knownDays(f.in.Water) == 0 {
			return err
		}
	} else {
		fmt.Fprintf(w, "Model: %s, from %d days before %s.\n%s\n", m.Grade.Words(), m.Days, dayDate(f.cut), forecast.Wrap("Regime: "+m.Regime+".", 96))
		for _, s := range f.words() {
			fmt.Fprintln(w, forecast.Wrap(s, 96))
		}
		if m.MeanFlow == 0 {
			fmt.Fprintln(w, "Too little flow data: modelled from air temperature only.")
		}
	}
	fmt.Fprintln(w)
	if err := f.printScores(w); err != nil {
		return err
	}
	fmt.Fprintf(w, "\nThe model sees only each day's air and flow; the persistence baseline also sees yesterday's reading. %.2f s.\n", f.seconds)
	if f.leads != nil {
		fmt.Fprintln(w)
		if err := f.printLeads(w); err != nil {
			return err
		}
	}
	if f.warm != nil {
		fmt.Fprintln(w)
		return f.printWarm(w)
	}
	return nil
}

func (f *waterFit) printScores(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(w, "\tdays\tRMSE °C\tMAE °C\tNSE\tbias °C\t\n")
	for _, p := range []struct {
		name string
		part watertemp.Part
	}{{"fit", f.report.Fit}, {"check", f.report.Check}} {
		for _, l := range []struct {
			name  string
			score watertemp.Score
		}{{"model", p.part.Model}, {"logistic on air", p.part.Logistic}, {"climatology", p.part.Climatology}, {"yesterday's reading", p.part.Persistence}} {
			s := l.score
			if s.Days == 0 {
				fmt.Fprintf(w, "%s: %s\t0\t\t\t\t\t\n", p.name, l.name)
				continue
			}
			fmt.Fprintf(w, "%s: %s\t%d\t%.3f\t%.3f\t%.3f\t%+.3f\t\n", p.name, l.name, s.Days, s.RMSE, s.MAE, s.NSE, s.Bias)
		}
	}
	return w.Flush()
}

func (f *waterFit) printLeads(out io.Writer) error {
	fmt.Fprintf(out, "Hindcasts every 5 days from %s. RMSE in °C; in range: share of readings between the 10th\nand 90th percentiles (should be 80%%). With past weather nothing of\nthe future is known; with actual weather all of it is, which no real forecast has.\n", dayDate(f.cut))
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(w, "lead, days\treadings\tpast weather\tin range\tactual weather\tin range\tpersistence\tclimatology\t\n")
	for _, l := range f.leads {
		if l.Days == 0 {
			fmt.Fprintf(w, "%d\t0\t\t\t\t\t\t\t\n", l.Lead)
			continue
		}
		fmt.Fprintf(w, "%d\t%d\t%.2f\t%.0f%%\t%.2f\t%.0f%%\t%.2f\t%.2f\t\n", l.Lead, l.Days, l.RMSE, 100*l.Inside, l.Observed, 100*l.ObservedInside, l.Persistence, l.Climatology)
	}
	return w.Flush()
}

func (f *waterFit) printWarm(out io.Writer) error {
	fmt.Fprintf(out, "Warm water. Today: %s.\nModelled chance that a day's warmest hour exceeds each threshold. A low chance does not override an agency warning.\n", f.fishToday)
	for i, l := range forecast.WarmLines() {
		fmt.Fprintf(out, "  %c  %s\n", 'a'+i, l.Who)
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(w, "\tmean °C\twarmest °C\t90th pct °C\ta\tb\tc\td\thours over a\t\n")
	for _, d := range f.warm {
		fmt.Fprintf(w, "%s\t%.1f\t%.1f\t%.1f\t", d.Date, d.MeanC, d.MaxP50C, d.MaxP90C)
		for _, p := range d.Chances {
			fmt.Fprintf(w, "%s\t", forecast.Percent(p))
		}
		fmt.Fprintf(w, "%.0f\t\n", math.Round(d.HoursAboveFirstC))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(out, "\n%s\n", forecast.Wrap(forecast.StandingCaution, 96))
	return err
}

// tooLittle reports whether an error says that a record is too short for a fit.
func tooLittle(err error) (*watertemp.TooLittleError, bool) {
	var little *watertemp.TooLittleError
	return little, errors.As(err, &little)
}
