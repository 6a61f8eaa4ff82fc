package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/civil"
	"example.org/eclose/model/flight"
	"example.org/eclose/model/insects"
)

type sightingsWindowsCmd struct {
	configFlag
	River string  `arg:"" help:"River; its region is worked out, and its neighbourhood looked at."`
	Km    float64 `default:"25" help:"How far from the river a group's presence is looked for; forecasts look within 25 km."`
}

// Run shows what open records tell of a river's region beside the book's windows,
// how early or late this season is, and which groups live near the river.
func (c sightingsWindowsCmd) Run(e *env) error {
	cfg, catalogue, err := c.loadInsects()
	if err != nil {
		return err
	}
	r, err := cfg.River(c.River)
	if err != nil {
		return app.Usage(err)
	}
	region, ok := insects.RegionOf(r.Lat, r.Lon)
	if r.Region != "" {
		if region, err = insects.ParseRegion(r.Region); err != nil {
			return app.Usage(err)
		}
	} else if !ok {
		return app.Usagef("%s lies in no region of the catalogue; set river.region", r.Name)
	}
	if region.Southern() {
		return app.Usagef("%s: windows from open records are worked out for the northern hemisphere only", region.Words())
	}
	return databaseFlag{Config: c.Config}.read(e, func(d *db.DB) error {
		open, err := app.OpenRecords(e.ctx, d, cfg, e.now())
		if err != nil {
			return err
		}
		if open == nil {
			fmt.Fprintln(e.stdout, "No open records are kept of the regions of your rivers. Fetch or import some: eclose sightings fetch --help")
			return nil
		}
		summary := open.Windows(region, catalogue, civil.DateOf(e.now()), e.now())
		season := summary.Season
		fmt.Fprintf(e.stdout, "%s: windows by open records, effort taken out, beside the book's (5 to 95%%)\n\n", region.Words())
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "INSECT\tSTAGE\tRECORDS\tSTART\tMEDIAN\tEND\tBOOK\tUSE")
		for _, x := range summary.Windows {
			use := "book"
			if x.Replaces() {
				use = "records"
			}
			fmt.Fprintf(w, "%s\t%s\trecords (%d)\t%s\t%s\t%s\t%s to %s\t%s\n", insects.Label(x.Group), x.Stage, x.Records.Records,
				dayRange(x.Records.Start), dayRange(x.Records.Median), dayRange(x.Records.End), yearDay(float64(x.Book.Start)), yearDay(float64(x.Book.End)), use)
		}
		if err := w.Flush(); err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "\nThis season so far: %s, %s of %s\n", lateWords(season.Late), count(season.Records, "record"), count(season.Groups, "insect"))
		fmt.Fprintf(e.stdout, "\nDays on which each was recorded within %g km of %s, and on how many it would be if it were as common here as in the region:\n\n", c.Km, r.Name)
		fmt.Fprintln(w, "INSECT\tDAYS\tEXPECTED\t")
		for _, x := range presences(summary.Presence(records.Near{LatDeg: r.Lat, LonDeg: r.Lon, Km: c.Km})) {
			missing := ""
			if x.Missing() {
				missing = "left off lists"
			}
			fmt.Fprintf(w, "%s\t%d\t%.1f\t%s\n", insects.Label(x.Group), x.Visits, x.Expected, missing)
		}
		return w.Flush()
	})
}

// presences lists groups, those recorded most often first.
func presences(of map[string]records.Presence) []records.Presence {
	out := slices.Collect(maps.Values(of))
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(b.Visits-a.Visits, cmp.Compare(b.Expected, a.Expected), cmp.Compare(a.Group, b.Group)) < 0
	})
	return out
}

func yearDay(d float64) string {
	return time.Date(2023, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(math.Round(d))-1).Format("2 Jan")
}

// dayRange is a day with its 80 % range.
func dayRange(i flight.Range) string {
	return fmt.Sprintf("%s (%s to %s)", yearDay(i.Mid), yearDay(i.Low), yearDay(i.High))
}

func lateWords(i flight.Range) string {
	word := func(d float64) string {
		if d < 0 {
			return fmt.Sprintf("%.0f days early", -d)
		}
		return fmt.Sprintf("%.0f days late", d)
	}
	return fmt.Sprintf("%s (80%% range %s to %s)", word(i.Mid), word(i.Low), word(i.High))
}
