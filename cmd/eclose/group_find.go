package main

import (
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/model/insects"
)

type groupFindCmd struct {
	catalogueFlags
	Name   []string `arg:"" help:"Common, regional or scientific name; approximate spelling is fine."`
	Region string   `help:"Region, such as rockies or northeast."`
	Near   string   `help:"Latitude,longitude instead of a region, e.g. 44.7,-121.2." placeholder:"PLACE"`
	Month  string   `help:"Month: 1-12 or its name."`
}

func (c groupFindCmd) Run(e *env) error {
	region, err := regionFrom(c.Region, c.Near)
	if err != nil {
		return err
	}
	month, err := parseMonth(c.Month)
	if err != nil {
		return app.Usage(err)
	}
	cat, err := c.load()
	if err != nil {
		return err
	}
	name := strings.Join(c.Name, " ")
	found := cat.Find(name, region, month)
	if c.Format == "json" {
		return writeJSON(e.stdout, candidatesJSON(found))
	}
	if len(found) == 0 {
		return fmt.Errorf("no insect group matches %q; see 'eclose group list'", name)
	}
	fmt.Fprintf(e.stdout, "%q could be:\n", name)
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "GROUP\tAS\tUSED IN\tINSECT\tREMARK\tSEASON (emergence; egg-laying)")
	for _, f := range found {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", f.Group.Key, f.Name.Name, f.Name.Area,
			strings.Join(f.Group.Genera, ", "), remark(f, region, month), seasons(f))
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("printing: %w", err)
	}
	if region == "" {
		fmt.Fprintln(e.stdout, "Narrow the list with --region and --month; details: 'eclose group show GROUP'.")
	}
	return nil
}

// remark says what speaks against or for a candidate.
func remark(f insects.Candidate, region insects.Region, month time.Month) string {
	var r []string
	if f.BroodOf != "" {
		r = append(r, "brood of "+f.BroodOf)
	}
	if f.Name.Kind != "common" && f.BroodOf == "" {
		r = append(r, f.Name.Kind)
	}
	if f.Distance > 0 {
		r = append(r, "spelling guessed")
	}
	if f.Partial {
		r = append(r, "part of the name")
	}
	if region != "" && !f.InRegion {
		r = append(r, "not called this in "+string(region))
	}
	if month != 0 && !f.InSeason {
		r = append(r, "not in "+month.String())
	}
	if f.Name.Note != "" && f.BroodOf == "" {
		r = append(r, f.Name.Note)
	}
	if len(r) == 0 {
		return "-"
	}
	return strings.Join(r, "; ")
}

// seasons is the list of windows in short form.
func seasons(f insects.Candidate) string {
	if len(f.Windows) == 0 {
		return "no season known here"
	}
	var out []string
	for i := 0; i+1 < len(f.Windows); i += 2 {
		em, egg := f.Windows[i], f.Windows[i+1]
		out = append(out, fmt.Sprintf("%s: %s; %s", em.Region, em, egg))
	}
	const most = 2
	if len(out) > most {
		return strings.Join(out[:most], " | ") + fmt.Sprintf(" | and %d more", len(out)-most)
	}
	return strings.Join(out, " | ")
}

type candidateJSON struct {
	Group    string       `json:"group"`
	Name     string       `json:"name"`
	Area     string       `json:"area"`
	Kind     string       `json:"kind"`
	Genera   []string     `json:"genera"`
	Distance int          `json:"letters_wrong"`
	Partial  bool         `json:"partial"`
	BroodOf  string       `json:"brood_of,omitempty"`
	InRegion bool         `json:"in_region"`
	InSeason bool         `json:"in_season"`
	Note     string       `json:"note,omitempty"`
	Windows  []windowJSON `json:"windows"`
}

type windowJSON struct {
	Region string `json:"region"`
	Stage  string `json:"stage"`
	Start  int    `json:"start_doy"`
	Median int    `json:"median_doy"`
	End    int    `json:"end_doy"`
	Grade  string `json:"grade"`
	Source string `json:"source"`
}

func candidatesJSON(found []insects.Candidate) []candidateJSON {
	out := []candidateJSON{}
	for _, f := range found {
		c := candidateJSON{
			Group: f.Group.Key, Name: f.Name.Name, Area: f.Name.Area, Kind: f.Name.Kind, Genera: f.Group.Genera,
			Distance: f.Distance, Partial: f.Partial, BroodOf: f.BroodOf, InRegion: f.InRegion, InSeason: f.InSeason,
			Note: f.Name.Note, Windows: []windowJSON{},
		}
		for _, w := range f.Windows {
			c.Windows = append(c.Windows, windowJSON{
				string(w.Region), string(w.Stage), w.Start, w.Median, w.End, string(w.Origin.Grade), w.Origin.Source,
			})
		}
		out = append(out, c)
	}
	return out
}
