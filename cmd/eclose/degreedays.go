package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/ingest/table"
	"example.org/eclose/model/degreeday"
)

// degreeDaysCmd counts degree-days of a plain table, so that anybody can check
// the counting against an extension service.
type degreeDaysCmd struct {
	CSV    string   `name:"csv" required:"" placeholder:"FILE" help:"CSV with columns date, tmin and tmax; - for stdin."`
	Method string   `default:"single-sine" help:"One of average, average-clamp-mean, average-clip-lower, average-clip-both, single-triangle, double-triangle, single-sine, double-sine, huber."`
	Cutoff string   `default:"horizontal" help:"Cutoff above the upper threshold: horizontal, intermediate or vertical."`
	Lower  float64  `required:"" help:"Lower threshold."`
	Upper  *float64 `help:"Upper threshold; none by default."`
	Units  string   `enum:"c,f" default:"c" help:"Temperature unit: c or f."`
	From   string   `placeholder:"DATE" help:"Start date (biofix), YYYY-MM-DD; default: first row."`
	Format string   `enum:"text,json" default:"text" help:"Output: text or json."`
}

type degreeDayRow struct {
	Date       string   `json:"date"`
	DegreeDays *float64 `json:"degree_days"` // null when a temperature is missing
	Total      float64  `json:"total"`
}

func (c degreeDaysCmd) Run(e *env) error {
	rule, err := c.rule()
	if err != nil {
		return app.Usage(err)
	}
	in := e.stdin
	if c.CSV != "-" {
		f, err := os.Open(c.CSV)
		if err != nil {
			return fmt.Errorf("reading temperatures: %w", err)
		}
		defer func() { _ = f.Close() }()
		in = f
	}
	first, tmin, tmax, err := readDailyExtremes(c.CSV, in)
	if err != nil {
		return err
	}
	if c.From != "" {
		from, err := time.Parse(time.DateOnly, c.From)
		if err != nil {
			return app.Usagef("--from: %w", app.NoDate(c.From))
		}
		skip := int(from.Sub(first).Hours() / 24)
		if skip < 0 || skip >= len(tmin) {
			return app.Usagef("--from %s is outside the table (%s to %s)", c.From,
				first.Format(time.DateOnly), first.AddDate(0, 0, len(tmin)-1).Format(time.DateOnly))
		}
		first, tmin, tmax = from, tmin[skip:], tmax[skip:]
	}
	daily, err := rule.Days(tmin, tmax)
	if err != nil {
		return app.Usage(err)
	}
	rows := make([]degreeDayRow, len(daily))
	total, missing := 0.0, 0
	for i, d := range daily {
		rows[i].Date = first.AddDate(0, 0, i).Format(time.DateOnly)
		if math.IsNaN(d) {
			missing++
		} else {
			total += d
			rows[i].DegreeDays = &daily[i]
		}
		rows[i].Total = total
	}
	if missing > 0 {
		fmt.Fprintf(e.stderr, "eclose: %d of %d days have no temperature and count as zero: totals are too low\n", missing, len(daily))
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, map[string]any{
			"method": c.Method, "cutoff": c.Cutoff, "lower": c.Lower, "upper": c.Upper, "units": c.Units,
			"days": rows, "total": total, "missing_days": missing,
		})
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	unit := strings.ToUpper(c.Units)
	fmt.Fprintf(w, "date\tdegree-days %s\ttotal\t\n", unit)
	for _, r := range rows {
		day := "missing"
		if r.DegreeDays != nil {
			day = strconv.FormatFloat(*r.DegreeDays, 'f', 2, 64)
		}
		fmt.Fprintf(w, "%s\t%s\t%.2f\t\n", r.Date, day, r.Total)
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	return nil
}

func (c degreeDaysCmd) rule() (r degreeday.Rule, err error) {
	if r.Method, err = degreeday.ParseMethod(c.Method); err != nil {
		return r, err
	}
	if r.Cutoff, err = degreeday.ParseCutoff(c.Cutoff); err != nil {
		return r, err
	}
	r.Lower, r.Upper = c.Lower, math.Inf(1)
	if c.Upper != nil {
		r.Upper = *c.Upper
	}
	if c.Units == "f" {
		r.Unit = degreeday.Fahrenheit
	}
	return r, r.Validate()
}

// readDailyExtremes reads date, tmin and tmax, in any order of columns and with
// others beside them. Days left out come back as NaN, so that the slices run day
// by day.
func readDailyExtremes(name string, in io.Reader) (first time.Time, tmin, tmax []float64, err error) {
	first, v, err := table.Daily(name, in, []string{"tmin", "tmax"}, nil, func(_, s string) (float64, error) { return temperature(s) }, func(v []float64) error {
		if v[0] > v[1] {
			return fmt.Errorf("tmin %g is above tmax %g", v[0], v[1])
		}
		return nil
	})
	if err != nil {
		return first, nil, nil, err
	}
	return first, v[0], v[1], nil
}

// temperature reads a temperature of either scale.
func temperature(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.Abs(v) > 200 {
		return 0, fmt.Errorf("%q is not a temperature; use a number or leave the cell empty", s)
	}
	return v, nil
}
