package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/occurrence"
	"example.org/eclose/model/insects"
)

type sightingsExportCmd struct {
	configFlag
	Licence string `required:"" enum:"cc0,cc-by,cc-by-nc" help:"Licence that you give them: cc0, cc-by or cc-by-nc."`
	Holder  string `help:"Whom to name as the rights holder." placeholder:"NAME"`
	Format  string `enum:"csv,archive" default:"archive" help:"csv or archive (Darwin Core)."`
	Windows bool   `help:"Export the catalogue's windows of all regions instead of your sightings."`
	Out     string `required:"" help:"File to write, - for standard output." placeholder:"FILE"`
}

// Run writes the owner's own sightings as Darwin Core, blank sessions as
// absences, or the catalogue's windows. Sightings of readers and neighbours are not
// the owner's to publish.
func (c sightingsExportCmd) Run(e *env) error {
	cfg, catalogue, err := c.loadInsects()
	if err != nil {
		return err
	}
	if c.Windows {
		return c.write(e, "window", windowsOf(catalogue, occurrence.ParseLicence(c.Licence), c.Holder), occurrence.About{
			Title: "Windows of emergence and egg-laying of river insects", Creator: orElse(c.Holder, "the users of this catalogue"),
			Abstract: "When half of an insect group's season, and 5 and 95 % of it, has passed over a region in an ordinary year, from literature and records. Each window names its sources, or says that it has none. Groups may span several species.",
		})
	}
	return databaseFlag{Config: c.Config}.read(e, func(d *db.DB) error {
		xs, err := (&diary.Store{DB: d, Now: e.now}).List(e.ctx, diary.Filter{})
		if err != nil {
			return err
		}
		var list []occurrence.Record
		for _, x := range xs {
			r, err := cfg.River(x.River)
			g, known := catalogue.Group(x.Group)
			if x.Origin != diary.Own || err != nil || !known {
				continue
			}
			list = append(list, published(x, r, g, occurrence.ParseLicence(c.Licence), c.Holder))
		}
		return c.write(e, "sighting", list, occurrence.About{
			Title: "Sightings of river insects", Creator: orElse(c.Holder, "the owner of this diary"),
			Abstract: "Visits to rivers by one observer who watched suitable water for the time given and noted whether a stage of an insect group showed: none, few or many. Groups may span several species.",
		})
	})
}

// write writes records in the format asked for, and says how many.
func (c sightingsExportCmd) write(e *env, what string, list []occurrence.Record, about occurrence.About) (err error) {
	about.Licence, about.Written = occurrence.ParseLicence(c.Licence), e.now()
	out := e.stdout
	if c.Out != "-" {
		f, cannot := os.Create(c.Out)
		if cannot != nil {
			return fmt.Errorf("exporting %ss: %w", what, cannot)
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		out = f
	}
	if c.Format == "csv" {
		err = occurrence.WriteText(out, list)
	} else {
		err = occurrence.WriteArchive(out, about, list)
	}
	if err == nil && c.Out != "-" {
		fmt.Fprintf(e.stdout, "%s in %s\n", count(len(list), what), c.Out)
	}
	return err
}

// windowsOf are the catalogue's windows of all regions in the words of Darwin Core.
// They speak of no single year, so they have days of the year and no date: whoever
// imports them must not take them for sightings.
func windowsOf(c *insects.Catalogue, licence occurrence.Licence, holder string) []occurrence.Record {
	var list []occurrence.Record
	for _, g := range c.Groups() {
		for _, region := range g.Regions() {
			for _, stage := range insects.Stages {
				w, ok := g.Window(region, stage)
				if !ok || g.Kind == insects.Parent {
					continue
				}
				o := occurrence.New(occurrence.SourceName)
				o.Key = fmt.Sprintf("urn:eclose:window:%s:%s:%s", region, g.Key, stage)
				o.Event = o.Key + ":event"
				o.Name, o.Rank = scientificName(&g)
				o.Order, o.Vernacular, o.Basis = g.Order, insects.Label(g.Key), "Occurrence"
				o.Region, o.Licence, o.Holder = region.Words(), licence, holder
				o.Stage, o.Behaviour = occurrence.Adult, "emerging"
				if stage == insects.EggLaying {
					o.Behaviour = "egg-laying"
				}
				o.FirstDay, o.LastDay = yearDayOf(w.Start), yearDayOf(w.End)
				o.Remarks = fmt.Sprintf("5 to 95 %% of the season in an ordinary year: %s; the middle may be off by %.0f days (one standard deviation)", w, w.MedianSDDays)
				if w.Shifted {
					o.Remarks += "; worked out from emergence and the days between"
				}
				o.Protocol = w.EvidenceWords()
				o.References = w.Origin.Grade.Words()
				if w.Origin.Grade.NeedsCitation() {
					o.Basis, o.References = "MaterialCitation", citations(c, w.Origin.Source)
				}
				list = append(list, o)
			}
		}
	}
	return list
}

// citations are the works behind a source column of the catalogue.
func citations(c *insects.Catalogue, codes string) string {
	var out []string
	for code := range strings.SplitSeq(codes, ";") {
		code = strings.TrimSpace(code)
		if s, ok := c.Source(code); ok {
			code = s.Citation
		}
		out = append(out, code)
	}
	return strings.Join(out, " | ") // how Darwin Core joins several values
}

// yearDayOf carries a day that may lie in the year before or after to 1-365.
func yearDayOf(d int) int { return (d-1+730)%365 + 1 }

func orElse(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// reachM is how far from the river's coordinates a sighting may have been made,
// m; our own default.
const reachM = 10_000

// published is a sighting in the words of Darwin Core.
func published(x diary.Sighting, r config.River, g *insects.Group, licence occurrence.Licence, holder string) occurrence.Record {
	o := occurrence.New(occurrence.SourceName)
	o.Key = "urn:eclose:sighting:" + x.ID
	o.Event = "urn:eclose:visit:" + x.ID
	o.Name, o.Rank = scientificName(g)
	o.Order, o.Vernacular = g.Order, insects.Label(g.Key)
	o.Start, o.End = x.Day, x.Day
	o.LatDeg, o.LonDeg, o.UncertaintyM, o.Locality = r.Lat, r.Lon, reachM, r.Name
	if r.Elevation != nil {
		o.ElevationM = *r.Elevation
	}
	o.Stage, o.Behaviour = occurrence.Adult, "emerging"
	if x.Stage == diary.EggLaying {
		o.Behaviour = "egg-laying"
	} else if g.Order == "Ephemeroptera" {
		o.Stage = occurrence.Subimago
	}
	o.Absent, o.Amount = x.Amount == diary.None, string(x.Amount)
	o.EffortHours, o.Effort, o.Protocol = x.Hours, fmt.Sprintf("%g hours by one observer", x.Hours), "watching suitable water from the bank or wading"
	o.Licence, o.Holder = licence, holder
	return o
}

// scientificName is the narrowest name that holds all of a group.
func scientificName(g *insects.Group) (name, rank string) {
	switch {
	case len(g.Species) == 1:
		return g.Species[0], "species"
	case len(g.Genera) == 1:
		return g.Genera[0], "genus"
	case len(g.Family) == 1:
		return g.Family[0], "family"
	}
	return g.Order, "order"
}
