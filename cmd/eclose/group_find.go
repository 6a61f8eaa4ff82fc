package main

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

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
	for _, f := range found {
		fmt.Fprintf(e.stdout, "\n%s\n", f.Group.Key)
		for _, part := range append([]string{called(f), remark(f, region, month)}, seasons(f)...) {
			for _, line := range folded(part, 74) {
				fmt.Fprintf(e.stdout, "    %s\n", line)
			}
		}
	}
	fmt.Fprintln(e.stdout)
	if region == "" {
		fmt.Fprintln(e.stdout, "Narrow the list with --region and --month; details: 'eclose group show GROUP'.")
	}
	return nil
}

// called says by which name, used where, a group of which genera is meant.
func called(f insects.Candidate) string {
	s := fmt.Sprintf("%q, used in: %s", f.Name.Name, f.Name.Area)
	if len(f.Group.Genera) > 0 {
		s += "; " + strings.Join(f.Group.Genera, ", ")
	}
	return s
}

// folded breaks a text into lines of at most n letters.
func folded(text string, n int) []string {
	var lines []string
	line := ""
	for w := range strings.FieldsSeq(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(w) > n {
			lines, line = append(lines, line), "  "
		}
		if strings.TrimSpace(line) != "" {
			line += " "
		}
		line += w
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// remark says what speaks against or for a candidate; nothing if nothing does.
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
	return strings.Join(r, "; ")
}

// seasons is the list of windows in short form.
func seasons(f insects.Candidate) []string {
	if len(f.Windows) == 0 {
		return []string{"no season known here"}
	}
	var out []string
	for i := 0; i+1 < len(f.Windows); i += 2 {
		em, egg := f.Windows[i], f.Windows[i+1]
		out = append(out, fmt.Sprintf("%s: hatch %s; eggs %s", em.Region, em, egg))
	}
	const most = 2
	if len(out) > most {
		return append(out[:most], fmt.Sprintf("and %d more regions", len(out)-most))
	}
	return out
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
	Basis  string `json:"basis"`            // what the dates were collected over
	Record string `json:"record,omitempty"` // the record they come from
	Flight bool   `json:"flight,omitempty"` // adults in flight, not emergence
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
				string(w.Basis), w.Record, w.Flight,
			})
		}
		out = append(out, c)
	}
	return out
}
