package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
)

type diaryCmd struct {
	Add      diaryAddCmd      `cmd:"" help:"Record a sighting or a blank session."`
	Import   diaryImportCmd   `cmd:"" help:"Import sightings from CSV; importing again updates only changed rows."`
	List     diaryListCmd     `cmd:"" help:"List sightings."`
	Export   diaryExportCmd   `cmd:"" help:"Export sightings as CSV."`
	Withdraw diaryWithdrawCmd `cmd:"" help:"Withdraw a sighting; its history is kept."`
}

type diaryAddCmd struct {
	databaseFlag
	Date     string  `help:"Day, as 2026-06-30 (default: today)."`
	River    string  `required:"" help:"River."`
	Group    string  `required:"" help:"Insect group."`
	Stage    string  `required:"" enum:"emergence,egg-laying" help:"emergence (the hatch) or egg-laying."`
	Amount   string  `required:"" enum:"none,few,many" help:"none, few or many."`
	Hours    float64 `required:"" help:"Hours spent watching suitable water."`
	Water    string  `help:"Water temperature with its unit: 11.5C or 52F."`
	Notes    string  `help:"Notes."`
	Observer string  `help:"Observer."`
	Revise   string  `help:"ID of the sighting to correct." placeholder:"ID"`
}

func (c diaryAddCmd) Run(e *env) error {
	x := diary.Sighting{
		ID: c.Revise, River: c.River, Group: c.Group, Stage: c.Stage, Amount: diary.Amount(c.Amount),
		Hours: c.Hours, Notes: c.Notes, Observer: c.Observer,
	}
	var err error
	if x.Day, err = civilDate(c.Date, e.now()); err != nil {
		return app.Usagef("--date: %w", err)
	}
	if c.Water != "" {
		t, err := celsius(c.Water)
		if err != nil {
			return app.Usagef("--water: %w", err)
		}
		x.WaterC = &t
	}
	names, err := c.names()
	if err != nil {
		return err
	}
	if x.River, x.Group, err = names.check(x.River, x.Group); err != nil {
		return err
	}
	if err := x.Check(e.now()); err != nil {
		return app.Usagef("%w", err)
	}
	return c.write(e, func(d *db.DB) error {
		s := &diary.Store{DB: d, Now: e.now}
		put := s.Add
		if c.Revise != "" {
			put = s.Revise
		}
		x, err := put(e.ctx, x)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "%s, revision %d: %s %s on %s, %s: %s in %g h\n", x.ID, x.Revision, x.Group, x.Stage, x.River, x.Date(), x.Amount, x.Hours)
		return nil
	})
}

type diaryImportCmd struct {
	databaseFlag
	File     string `arg:"" help:"CSV file, or - for stdin. Columns: date, group, stage, amount, hours; optional: river, water_temp_c or water_temp_f, notes, observer, id."`
	River    string `help:"River for rows that name none."`
	Observer string `help:"Observer for rows that name none."`
}

func (c diaryImportCmd) Run(e *env) error {
	in, name := e.stdin, "standard input"
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("importing sightings: %w", err)
		}
		defer func() { _ = f.Close() }() // only read
		in, name = f, c.File
	}
	xs, err := diary.ReadCSV(in, diary.Reading{File: name, River: c.River, Observer: c.Observer, Now: e.now()})
	if err != nil {
		return fmt.Errorf("nothing was imported:\n%w", err)
	}
	names, err := c.names()
	if err != nil {
		return err
	}
	for i := range xs {
		if xs[i].River, xs[i].Group, err = names.check(xs[i].River, xs[i].Group); err != nil {
			return fmt.Errorf("nothing was imported: sighting %d of %s, %s: %w", i+1, c.File, xs[i].Date(), err)
		}
	}
	return c.write(e, func(d *db.DB) error {
		n, err := (&diary.Store{DB: d, Now: e.now}).Import(e.ctx, xs)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "%d added, %d revised, %d unchanged\n", n.Added, n.Revised, n.Unchanged)
		return nil
	})
}

type diaryFilter struct {
	River string `help:"Only this river."`
	Group string `help:"Only this group."`
	Stage string `help:"Only this stage." enum:",emergence,egg-laying" default:""`
	From  string `help:"From this day, as 2026-06-30."`
	To    string `help:"Before this day."`
	AsOf  string `help:"Show the diary as of this time, e.g. 2026-06-30T12:00:00Z."`
}

func (f diaryFilter) filter() (diary.Filter, error) {
	out := diary.Filter{River: f.River, Group: f.Group, Stage: f.Stage}
	var err error
	if f.From != "" {
		if out.From, err = civilDate(f.From, time.Time{}); err != nil {
			return out, app.Usagef("--from: %w", err)
		}
	}
	if f.To != "" {
		if out.To, err = civilDate(f.To, time.Time{}); err != nil {
			return out, app.Usagef("--to: %w", err)
		}
	}
	if f.AsOf != "" {
		if out.AsOf, err = time.Parse(time.RFC3339, f.AsOf); err != nil {
			return out, app.Usagef("--as-of: %q is not a time; write it as 2026-06-30T12:00:00Z", f.AsOf)
		}
	}
	return out, nil
}

// list hands the sightings that fit to do.
func (f diaryFilter) list(e *env, from databaseFlag, do func([]diary.Sighting) error) error {
	filter, err := f.filter()
	if err != nil {
		return err
	}
	return from.read(e, func(d *db.DB) error {
		xs, err := (&diary.Store{DB: d, Now: e.now}).List(e.ctx, filter)
		if err != nil {
			return err
		}
		return do(xs)
	})
}

type diaryListCmd struct {
	databaseFlag
	diaryFilter
	Format string `enum:"text,json" default:"text" help:"text or json."`
}

func (c diaryListCmd) Run(e *env) error {
	return c.list(e, c.databaseFlag, func(xs []diary.Sighting) error {
		if c.Format == "json" {
			return writeSightingsJSON(e.stdout, xs)
		}
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "DATE\tRIVER\tGROUP\tSTAGE\tAMOUNT\tHOURS\tWATER\tOBSERVER\tID")
		for _, x := range xs {
			temp := "-"
			if x.WaterC != nil {
				temp = fmt.Sprintf("%.1f °C", *x.WaterC)
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%g\t%s\t%s\t%s\n", x.Date(), x.River, x.Group, x.Stage, x.Amount, x.Hours, temp, x.Observer, x.ID)
		}
		return w.Flush()
	})
}

func writeSightingsJSON(w io.Writer, xs []diary.Sighting) error {
	type line struct {
		Date string `json:"date"`
		diary.Sighting
	}
	out := make([]line, len(xs))
	for i, x := range xs {
		out[i] = line{x.Date(), x}
	}
	return writeJSON(w, out)
}

type diaryExportCmd struct {
	databaseFlag
	diaryFilter
	Out string `default:"-" help:"File to write, - for standard output." placeholder:"FILE"`
}

func (c diaryExportCmd) Run(e *env) error {
	return c.list(e, c.databaseFlag, func(xs []diary.Sighting) error {
		if c.Out == "-" {
			return diary.WriteCSV(e.stdout, xs)
		}
		out, err := os.Create(c.Out)
		if err != nil {
			return fmt.Errorf("exporting sightings: %w", err)
		}
		return errors.Join(diary.WriteCSV(out, xs), out.Close())
	})
}

type diaryWithdrawCmd struct {
	databaseFlag
	ID string `arg:"" help:"Id of the sighting."`
}

func (c diaryWithdrawCmd) Run(e *env) error {
	return c.write(e, func(d *db.DB) error {
		return (&diary.Store{DB: d, Now: e.now}).Withdraw(e.ctx, c.ID)
	})
}

// civilDate reads a date, or takes that of now where s is empty.
func civilDate(s string, now time.Time) (time.Time, error) {
	if s == "" {
		return time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC), nil
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return t, app.NoDate(s)
	}
	return t, nil
}

// celsius reads a temperature that carries its unit.
func celsius(s string) (float64, error) {
	number := strings.TrimRight(s, " °CcFf")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	unit := strings.ToUpper(strings.Trim(s[len(number):], " °"))
	switch {
	case err != nil || unit == "":
		return 0, fmt.Errorf("%q is not a temperature; write 11.5C or 52F", s)
	case unit == "F":
		return (v - 32) / 1.8, nil
	case unit == "C":
		return v, nil
	}
	return 0, fmt.Errorf("%q has no known unit; write 11.5C or 52F", s)
}
