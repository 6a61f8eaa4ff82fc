package insects

import (
	"bytes"
	"embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed catalogue/*.csv
var embedded embed.FS

// Catalogue is all groups, their names and the reference list.
type Catalogue struct {
	groups  []*Group
	byKey   map[string]*Group
	sources []Source
	names   []Name
	index   []entry
}

var (
	factHeader   = []string{"group", "field", "region", "value", "spread", "grade", "source", "note", "basis"}
	nameHeader   = []string{"name", "area", "group", "rank", "kind", "note"}
	sourceHeader = []string{"code", "citation", "seen"}
)

// Load returns the embedded catalogue. It is read once: nobody may change it.
func Load() (*Catalogue, error) { return load() }

var load = sync.OnceValues(func() (*Catalogue, error) {
	c, err := readEmbedded()
	if err != nil {
		return nil, fmt.Errorf("reading the embedded catalogue: %w", err)
	}
	return c, nil
})

func readEmbedded() (*Catalogue, error) {
	c := &Catalogue{}
	var facts []Fact
	for _, name := range []string{"mayflies.csv", "stoneflies.csv", "caddisflies.csv", "midges.csv", "others.csv", "terrestrials.csv"} {
		b, err := embedded.ReadFile("catalogue/" + name)
		if err != nil {
			return nil, err
		}
		f, _, err := parseFacts(name, bytes.NewReader(b))
		if err != nil {
			return nil, err
		}
		facts = append(facts, f...)
	}
	b, err := embedded.ReadFile("catalogue/names.csv")
	if err != nil {
		return nil, err
	}
	if c.names, err = parseNames("names.csv", bytes.NewReader(b)); err != nil {
		return nil, err
	}
	if b, err = embedded.ReadFile("catalogue/sources.csv"); err != nil {
		return nil, err
	}
	err = readRows("sources.csv", bytes.NewReader(b), sourceHeader, func(_ int, row []string) error {
		c.sources = append(c.sources, Source{Code: row[0], Citation: row[1], Seen: row[2]})
		return nil
	})
	if err != nil {
		return nil, err
	}
	return c, c.build(facts)
}

// Overlay returns a catalogue in which the lines of a reader's own table stand
// over those of c: a line for a field (and region) that is there replaces it, a
// new group key adds a group, and a line with the field "name" adds a name (its
// area in the region column). The table has the columns of the embedded ones;
// file is only used to say where a mistake is. Every mistake is named.
func (c *Catalogue) Overlay(file string, r io.Reader) (*Catalogue, error) {
	mine, names, err := parseFacts(file, r)
	if err != nil {
		return nil, err
	}
	type slot struct {
		group, field string
		region       Region
	}
	replace := map[slot]Fact{}
	var order []slot
	for _, f := range mine {
		s := slot{f.Group, f.Field, f.Region}
		if old, twice := replace[s]; twice {
			return nil, at(f, fmt.Errorf("duplicate value for %q, %q (see line %d)", f.Field, f.Group, old.Line))
		}
		replace[s] = f
		order = append(order, s)
	}
	var facts []Fact
	for _, g := range c.groups {
		for _, f := range g.facts {
			s := slot{f.Group, f.Field, f.Region}
			if n, ok := replace[s]; ok {
				f = n
				delete(replace, s)
			}
			facts = append(facts, f)
		}
	}
	for _, s := range order {
		if f, ok := replace[s]; ok {
			facts = append(facts, f)
		}
	}
	out := &Catalogue{sources: c.sources, names: append(slices.Clone(c.names), names...)}
	if err := out.build(facts); err != nil {
		return nil, err
	}
	return out, nil
}

// Groups are all groups, parents included, in the order of the tables.
func (c *Catalogue) Groups() []Group {
	out := make([]Group, len(c.groups))
	for i, g := range c.groups {
		out[i] = *g
	}
	return out
}

// Forecastable are the groups that stand for one season's event in a region:
// no parents, and a window there.
func (c *Catalogue) Forecastable(r Region) []*Group {
	var out []*Group
	for _, g := range c.groups {
		if g.Kind != Parent && slices.Contains(g.Regions(), r) {
			out = append(out, g)
		}
	}
	return out
}

// Group is the group of a key.
func (c *Catalogue) Group(key string) (*Group, bool) {
	g, ok := c.byKey[key]
	return g, ok
}

// Broods are the groups under a parent.
func (c *Catalogue) Broods(parent string) []*Group {
	var out []*Group
	for _, g := range c.groups {
		if g.ParentKey == parent && parent != "" {
			out = append(out, g)
		}
	}
	return out
}

// Sources is the reference list.
func (c *Catalogue) Sources() []Source { return slices.Clone(c.sources) }

// Source looks up one code of the reference list.
func (c *Catalogue) Source(code string) (Source, bool) {
	for _, s := range c.sources {
		if s.Code == code {
			return s, true
		}
	}
	return Source{}, false
}

// build groups the facts by key, keeps their order and checks what only the
// whole can tell: parents exist, names point somewhere.
func (c *Catalogue) build(facts []Fact) error {
	byKey := map[string][]Fact{}
	var keys []string
	for _, f := range facts {
		if byKey[f.Group] == nil {
			keys = append(keys, f.Group)
		}
		byKey[f.Group] = append(byKey[f.Group], f)
	}
	c.byKey = map[string]*Group{}
	var errs []error
	for _, k := range keys {
		g, err := buildGroup(k, byKey[k])
		if err != nil {
			errs = append(errs, err)
			continue
		}
		c.groups = append(c.groups, g)
		c.byKey[k] = g
	}
	if len(errs) > 0 {
		return errors.Join(errs...)
	}
	for _, g := range c.groups {
		if g.ParentKey == "" {
			continue
		}
		if p := c.byKey[g.ParentKey]; p == nil || p.Kind != Parent {
			f, _ := g.Fact("parent", "")
			errs = append(errs, at(f, fmt.Errorf("parent %q is not a group of kind parent", g.ParentKey)))
		}
	}
	for _, n := range c.names {
		g := c.byKey[n.Group]
		if g == nil {
			errs = append(errs, fmt.Errorf("name %q points to the group %q, which does not exist", n.Name, n.Group))
			continue
		}
		g.Names = append(g.Names, n)
	}
	if len(errs) > 0 {
		return errors.Join(errs...)
	}
	c.index = buildIndex(c)
	return nil
}

// parseFacts reads a table of facts. Lines with the field "name" come back as
// names.
func parseFacts(file string, r io.Reader) (facts []Fact, names []Name, err error) {
	var errs []error
	err = readRows(file, r, factHeader, func(line int, row []string) error {
		f := Fact{
			Group: row[0], Field: row[1], Region: Region(row[2]), Value: row[3], Spread: row[4],
			Grade: Grade(row[5]), Source: row[6], Note: row[7], Basis: row[8], File: file, Line: line,
		}
		if err := checkFact(f); err != nil {
			errs = append(errs, at(f, err))
			return nil
		}
		if f.Field == "name" {
			n := Name{Name: f.Value, Area: string(f.Region), Group: f.Group, Rank: 1, Kind: "common", Note: f.Note}
			if n.Area == "" {
				n.Area = "any"
			}
			if f.Spread != "" {
				rank, err := strconv.Atoi(f.Spread)
				if err != nil || rank < 1 {
					errs = append(errs, at(f, fmt.Errorf("rank %q of a name is not a whole number from 1", f.Spread)))
				}
				n.Rank = rank
			}
			names = append(names, n)
			return nil
		}
		facts = append(facts, f)
		return nil
	})
	if err != nil {
		errs = append(errs, err)
	}
	return facts, names, errors.Join(errs...)
}

func checkFact(f Fact) error {
	switch {
	case !isKey(f.Group):
		return fmt.Errorf("%q is not a group key; use lower-case letters, digits and hyphens", f.Group)
	case f.Value == "":
		return fmt.Errorf("no value for %q; add one or delete the line", f.Field)
	case !grades[f.Grade]:
		return fmt.Errorf("grade %q of %q is unknown: use measured, published, part-published, derived, proxy, prior, practice, guess or own", f.Grade, f.Field)
	case f.Basis != "" && !slices.Contains(regional, f.Field):
		return fmt.Errorf("field %q cannot have a basis: only windows and degree-days can", f.Field)
	case f.Source == "":
		return fmt.Errorf("no source for %q: name one, or write \"common practice, no source\", \"guess\" or \"my own diary\"", f.Field)
	}
	if f.Region == "" {
		return nil
	}
	if f.Field == "name" {
		return checkArea(string(f.Region))
	}
	if _, ok := regionTable[f.Region]; !ok {
		_, err := ParseRegion(string(f.Region))
		if err == nil {
			err = fmt.Errorf("region %q must be written by its key", f.Region)
		}
		return err
	}
	return nil
}

func checkArea(a string) error {
	if slices.Contains(allAreas, a) {
		return nil
	}
	if _, ok := regionTable[Region(a)]; ok {
		return nil
	}
	return fmt.Errorf("unknown area %q of a name: use a region or one of %s", a, strings.Join(allAreas, ", "))
}

func isKey(s string) bool {
	for _, c := range []byte(s) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return s != ""
}

func parseNames(file string, r io.Reader) (names []Name, err error) {
	err = readRows(file, r, nameHeader, func(line int, row []string) error {
		n := Name{Name: row[0], Area: row[1], Group: row[2], Kind: row[4], Note: row[5]}
		var err error
		if n.Rank, err = strconv.Atoi(row[3]); err != nil || n.Rank < 1 {
			return fmt.Errorf("%s:%d: rank %q is not a whole number from 1", file, line, row[3])
		}
		if err := checkArea(n.Area); err != nil {
			return fmt.Errorf("%s:%d: %w", file, line, err)
		}
		names = append(names, n)
		return nil
	})
	return names, err
}

// readRows hands each row under the expected header to f, with its line.
func readRows(file string, r io.Reader, header []string, f func(line int, row []string) error) error {
	cr := csv.NewReader(r)
	cr.Comment = '#'
	cr.FieldsPerRecord = -1
	first := true
	for {
		row, err := cr.Read()
		if errors.Is(err, io.EOF) {
			if first {
				return fmt.Errorf("%s: empty: it needs the header %s", file, strings.Join(header, ","))
			}
			return nil
		}
		if err != nil {
			if p, ok := errors.AsType[*csv.ParseError](err); ok {
				return fmt.Errorf("%s:%d: not valid CSV: %w", file, p.Line, p.Err)
			}
			return fmt.Errorf("%s: reading: %w", file, err)
		}
		line, _ := cr.FieldPos(0)
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		if first {
			first = false
			row[0] = strings.TrimPrefix(row[0], "\ufeff") // spreadsheets like to put one there
			// Readers' tables from before the basis have one column less.
			narrower := last(header) == "basis" && slices.Equal(row, header[:len(header)-1])
			if !narrower && !slices.Equal(row, header) {
				return fmt.Errorf("%s:%d: the first line must be the header %s", file, line, strings.Join(header, ","))
			}
			continue
		}
		if len(row) > len(header) {
			return fmt.Errorf("%s:%d: %d columns, expected %d; quote text that contains a comma", file, line, len(row), len(header))
		}
		for len(row) < len(header) {
			row = append(row, "") // trailing empty columns may be left out
		}
		if err := f(line, row); err != nil {
			return err
		}
	}
}

func last(s []string) string { return s[len(s)-1] }
