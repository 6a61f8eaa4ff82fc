package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/db"
)

type sightingsListCmd struct {
	configFlag
	River  string `help:"Only records around this river."`
	Group  string `help:"Only this insect group."`
	Format string `enum:"text,json" default:"text" help:"text or json."`
}

// Run lists the open records that stand for a group, with their credit.
func (c sightingsListCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	f := records.Filter{Group: c.Group}
	if c.River != "" {
		r, err := cfg.River(c.River)
		if err != nil {
			return app.Usage(err)
		}
		f.Near = &records.Near{LatDeg: r.Lat, LonDeg: r.Lon, Km: cfg.Sightings.RadiusKm}
	}
	return databaseFlag{Config: c.Config}.read(e, func(d *db.DB) error {
		all, err := (&records.Store{DB: d, Now: e.now}).List(e.ctx, f)
		if err != nil {
			return err
		}
		if c.Format == "json" {
			return writeRecordsJSON(e.stdout, all)
		}
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "DATE\tGROUP\tSTAGE\tNAME\tPLACE\tID\tCREDIT")
		for _, x := range all {
			if x.Group == "" {
				continue
			}
			held := ""
			if x.Withheld {
				held = " (withheld)"
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%.2f,%.2f\t%s%s\t%s\n", x.First.Format("2006-01-02"), x.Group, x.Stage, x.Name, x.LatDeg, x.LonDeg, x.ID, held, x.Credit)
		}
		return w.Flush()
	})
}

func writeRecordsJSON(w io.Writer, all []records.Record) error {
	type line struct {
		ID       string  `json:"id"`
		Date     string  `json:"date"`
		Group    string  `json:"group"`
		Stage    string  `json:"stage"`
		Name     string  `json:"name"`
		Lat      float64 `json:"lat"`
		Lon      float64 `json:"lon"`
		Licence  string  `json:"licence"`
		Credit   string  `json:"credit"`
		Withheld bool    `json:"withheld"`
	}
	out := []line{}
	for _, x := range all {
		if x.Group != "" {
			out = append(out, line{x.ID, x.First.Format("2006-01-02"), x.Group, string(x.Stage), x.Name, x.LatDeg, x.LonDeg, x.Licence, x.Credit, x.Withheld})
		}
	}
	return writeJSON(w, out)
}

type sightingsWithholdCmd struct {
	databaseFlag
	ID      string `arg:"" help:"ID of the record, as sightings list prints it."`
	Release bool   `help:"Include it again."`
}

func (c sightingsWithholdCmd) Run(e *env) error {
	return c.write(e, func(d *db.DB) error {
		return (&records.Store{DB: d, Now: e.now}).Withhold(e.ctx, c.ID, !c.Release)
	})
}

type sightingsUsedCmd struct {
	configFlag
	River string `arg:"" help:"River."`
}

// Run lists all sightings that stand behind a river's dates, by kind.
func (c sightingsUsedCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	all, err := app.IssueAll(e.ctx, cfg, []string{c.River}, "", e.now(), 0)
	if err != nil {
		return err
	}
	for _, o := range all {
		if len(o.Entered) == 0 {
			fmt.Fprintf(e.stdout, "%s: no sighting was used for its dates\n", o.RiverName)
			continue
		}
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintf(w, "KIND\tRIVER OR REGION\tGROUP\tSIGHTINGS\tFROM\tTO\tUSED FOR\n")
		for _, x := range o.Entered {
			fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%s\t%s\t%s\n", x.Kind.Words(), x.River, x.Group, x.Sightings, x.From, x.To, x.Use.Words())
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	return nil
}
