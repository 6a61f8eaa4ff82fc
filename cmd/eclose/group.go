package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
	"unicode/utf8"

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
		return nil, usagef("reading your groups: %w", err)
	}
	defer func() { _ = file.Close() }()
	if c, err = c.Overlay(f.Groups, file); err != nil {
		return nil, usageError{err}
	}
	return c, nil
}

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
		return usageError{err}
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
		return usagef("no group %q: try 'eclose group find %s'", c.Key, c.Key)
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

// regionFrom reads a region from its name or from a place.
func regionFrom(name, near string) (insects.Region, error) {
	switch {
	case name != "" && near != "":
		return "", usagef("give either --region or --near")
	case near != "":
		lat, lon, err := parsePlace(near)
		if err != nil {
			return "", err
		}
		r, ok := insects.RegionOf(lat, lon)
		if !ok {
			return "", usagef("the catalogue has no region at %g, %g; choose the nearest with --region", lat, lon)
		}
		return r, nil
	case name == "":
		return "", nil
	}
	r, err := insects.ParseRegion(name)
	if err != nil {
		return "", usageError{err}
	}
	return r, nil
}

// parsePlace reads --near.
func parsePlace(near string) (latDeg, lonDeg float64, err error) {
	a, b, ok := strings.Cut(near, ",")
	lat, err1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	lon, err2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if !ok || err1 != nil || err2 != nil || !(math.Abs(lat) <= 90 && math.Abs(lon) <= 180) {
		return 0, 0, usagef("--near %s: write latitude,longitude in degrees, such as 44.7,-121.2", near)
	}
	return lat, lon, nil
}

// parseMonth reads 1-12 or a month's name or its first three letters or more;
// empty is 0.
func parseMonth(s string) (time.Month, error) {
	if s == "" {
		return 0, nil
	}
	if n, err := strconv.Atoi(s); err == nil && n >= 1 && n <= 12 {
		return time.Month(n), nil
	}
	for m := time.January; m <= time.December; m++ {
		if n := len(s); n >= 3 && n <= len(m.String()) && strings.EqualFold(s, m.String()[:n]) {
			return m, nil
		}
	}
	return 0, fmt.Errorf("%q is not a month: write 1 to 12 or its name", s)
}

// writeJSON prints a value as indented JSON.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	if err := enc.Encode(v); err != nil {
		return fmt.Errorf("printing JSON: %w", err)
	}
	return nil
}
