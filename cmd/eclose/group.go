package main

import (
	"fmt"
	"os"
	"strings"
	"text/tabwriter"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/model/insects"
)

type groupCmd struct {
	Find groupFindCmd `cmd:"" help:"Find insect groups by common, regional or scientific name."`
	Show groupShowCmd `cmd:"" help:"Show everything in the catalogue on one group, with evidence and source."`
	List groupListCmd `cmd:"" help:"List all insect groups."`
}

// catalogueFlags choose the catalogue: the embedded one, or a reader's table
// over it.
type catalogueFlags struct {
	Groups string `placeholder:"FILE" help:"Your own groups (CSV), added to the built-in catalogue."`
	Format string `enum:"text,json" default:"text" help:"Output: text or json."`
}

func (f catalogueFlags) load() (*insects.Catalogue, error) {
	c, err := insects.Load()
	if err != nil || f.Groups == "" {
		return c, err
	}
	file, err := os.Open(f.Groups)
	if err != nil {
		return nil, app.Usagef("reading your groups: %w", err)
	}
	defer func() { _ = file.Close() }()
	if c, err = c.Overlay(f.Groups, file); err != nil {
		return nil, app.Usage(err)
	}
	return c, nil
}

type groupShowCmd struct {
	catalogueFlags
	Key    string `arg:"" help:"Group key, as printed by find and list."`
	Region string `help:"Only values for this region."`
}

type factJSON struct {
	Field  string `json:"field"`
	Region string `json:"region,omitempty"`
	Value  string `json:"value"`
	Spread string `json:"spread,omitempty"`
	Grade  string `json:"grade"`
	Source string `json:"source"`
	Note   string `json:"note,omitempty"`
}

func (c groupShowCmd) Run(e *env) error {
	region, err := regionFrom(c.Region, "")
	if err != nil {
		return err
	}
	cat, err := c.load()
	if err != nil {
		return err
	}
	g, ok := cat.Group(c.Key)
	if !ok {
		return app.Usagef("no group %q: try 'eclose group find %s'", c.Key, c.Key)
	}
	var facts []factJSON
	for _, f := range g.Facts() {
		if strings.HasPrefix(f.Field, "worth.") { // it orders lists and says nothing of the insect
			continue
		}
		if region == "" || f.Region == "" || f.Region == region {
			facts = append(facts, factJSON{f.Field, string(f.Region), f.Value, f.Spread, string(f.Grade), f.Source, f.Note})
		}
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, map[string]any{"group": g.Key, "names": g.CommonNames(region), "facts": facts})
	}
	fmt.Fprintf(e.stdout, "%s (%s)\n", g.Key, strings.Join(g.CommonNames(region), ", "))
	for _, r := range g.Regions() {
		if region != "" && r != region {
			continue
		}
		em, _ := g.Window(r, insects.Emergence)
		fmt.Fprintf(e.stdout, "  %s, timing %s; dates from %s:\n", r.Words(), g.Grade(r).Words(), em.EvidenceWords())
		for _, s := range insects.Stages {
			w, _ := g.Window(r, s)
			fmt.Fprintf(e.stdout, "    %-10s %s; %s; on the water: %s\n", s, w, g.Hours(s), g.Fishable(s))
		}
		if t, ok := g.Thermal(r); ok {
			fmt.Fprintf(e.stdout, "    half of the adults out by %.0f °C·d above %g °C (±%.0f%%); weight against the calendar %.2g\n",
				t.DD50, g.BaseTempC, 100*t.CV, t.Weight)
		}
	}
	fmt.Fprintln(e.stdout)
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "FIELD\tREGION\tVALUE\t+-\tGRADE\tSOURCE\tNOTE")
	for _, f := range facts {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", f.Field, f.Region, f.Value, f.Spread, f.Grade, f.Source, f.Note)
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	fmt.Fprintln(e.stdout)
	for _, code := range g.Sources() {
		if s, ok := cat.Source(code); ok {
			fmt.Fprintf(e.stdout, "%s: %s (seen: %s)\n", s.Code, s.Citation, s.Seen)
		}
	}
	return nil
}

type groupListCmd struct {
	catalogueFlags
	Region string `help:"Only groups with a season in this region."`
}

func (c groupListCmd) Run(e *env) error {
	region, err := regionFrom(c.Region, "")
	if err != nil {
		return err
	}
	cat, err := c.load()
	if err != nil {
		return err
	}
	type row struct {
		Key     string   `json:"group"`
		Kind    string   `json:"kind"`
		Order   string   `json:"order"`
		Names   []string `json:"names"`
		Regions []string `json:"regions"`
	}
	rows := []row{}
	for _, g := range cat.Groups() {
		r := row{Key: g.Key, Kind: string(g.Kind), Order: g.Order, Names: g.CommonNames(region)}
		in := region == ""
		for _, x := range g.Regions() {
			r.Regions = append(r.Regions, string(x))
			in = in || x == region
		}
		if in {
			rows = append(rows, r)
		}
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, rows)
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "GROUP\tKIND\tORDER\tREGIONS\tNAMES")
	for _, r := range rows {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", r.Key, r.Kind, r.Order, strings.Join(r.Regions, " "), strings.Join(r.Names, ", "))
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	return nil
}
