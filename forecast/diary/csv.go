package diary

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
)

// columns of the CSV, in the order in which they are written. Only those
// marked must stand in a file that is read; the order there is free.
var columns = []struct {
	name string
	must bool
}{
	{"date", true}, {"river", false}, {"group", true}, {"stage", true}, {"amount", true}, {"hours", true},
	{"water_temp_c", false}, {"notes", false}, {"observer", false}, {"id", false},
}

// fahrenheit may stand in the place of water_temp_c.
const fahrenheit = "water_temp_f"

// Reading says how a CSV file is to be read.
type Reading struct {
	File     string                       // its name in messages
	River    string                       // where the file has no river column or an empty cell
	Observer string                       // likewise
	Group    func(string) (string, error) // resolves a group's name; nil takes it as it is
	Now      time.Time
}

// maxFaults bounds how many faults of one file are reported at once.
const maxFaults = 20

// ReadCSV reads sightings. Every fault is reported with the line it is on, and one
// fault refuses the file.
func ReadCSV(r io.Reader, opt Reading) ([]Sighting, error) {
	in := bufio.NewReader(r)
	if b, err := in.Peek(3); err == nil && bytes.Equal(b, []byte("\ufeff")) {
		_, _ = in.Discard(3) // spreadsheets put it there; it was just peeked at
	}
	c := csv.NewReader(in)
	c.TrimLeadingSpace = true
	header, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s: empty file; the header must name: %s", opt.File, columnNames())
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", opt.File, err)
	}
	at, err := readHeader(header)
	if err != nil {
		return nil, fmt.Errorf("%s, line 1: %w", opt.File, err)
	}
	var (
		out    []Sighting
		faults []error
	)
	for len(faults) < maxFaults {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		line := 0
		if err == nil {
			line, _ = c.FieldPos(0)
			var x Sighting
			if x, err = readLine(cells, at, opt); err == nil {
				out = append(out, x)
				continue
			}
		}
		if pe := new(csv.ParseError); errors.As(err, &pe) {
			line, err = pe.Line, pe.Err
			if !errors.Is(err, csv.ErrFieldCount) {
				faults = append(faults, fmt.Errorf("%s, line %d: %w", opt.File, line, err))
				break // past a stray quote no later line number can be trusted
			}
		}
		for e := range strings.SplitSeq(err.Error(), "\n") {
			faults = append(faults, fmt.Errorf("%s, line %d: %s", opt.File, line, e))
		}
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return out, nil
}

func columnNames() string {
	var names []string
	for _, c := range columns {
		names = append(names, c.name)
	}
	return strings.Join(names, ", ")
}

func readHeader(header []string) (map[string]int, error) {
	at := map[string]int{}
	for i, h := range header {
		h = strings.ToLower(strings.TrimSpace(h))
		known := h == fahrenheit
		for _, c := range columns {
			known = known || c.name == h
		}
		if !known {
			return nil, fmt.Errorf("unknown column %q; use %s (or %s)", h, columnNames(), fahrenheit)
		}
		if _, twice := at[h]; twice {
			return nil, fmt.Errorf("column %q appears twice", h)
		}
		at[h] = i
	}
	for _, c := range columns {
		if _, ok := at[c.name]; c.must && !ok {
			return nil, fmt.Errorf("column %q is missing", c.name)
		}
	}
	_, c := at["water_temp_c"]
	if _, f := at[fahrenheit]; c && f {
		return nil, fmt.Errorf("both water_temp_c and %s are present; keep one", fahrenheit)
	}
	return at, nil
}

func readLine(cells []string, at map[string]int, opt Reading) (Sighting, error) {
	cell := func(name string) string {
		if i, ok := at[name]; ok {
			return strings.TrimSpace(cells[i])
		}
		return ""
	}
	var faults []error
	x := Sighting{
		ID: cell("id"), River: cell("river"), Group: cell("group"), Stage: strings.ToLower(cell("stage")),
		Amount: Amount(strings.ToLower(cell("amount"))), Notes: cell("notes"), Observer: cell("observer"),
	}
	if x.River == "" {
		x.River = opt.River
	}
	if x.Observer == "" {
		x.Observer = opt.Observer
	}
	if opt.Group != nil && x.Group != "" {
		g, err := opt.Group(x.Group)
		if err != nil {
			faults = append(faults, fmt.Errorf("group: %w", err))
		} else {
			x.Group = g
		}
	}
	if len(x.ID) > 64 || strings.ContainsFunc(x.ID, func(r rune) bool {
		return r != '-' && (r < '0' || r > '9') && (r < 'a' || r > 'z')
	}) {
		faults = append(faults, fmt.Errorf("id: unknown id %q; leave it empty for a new sighting", x.ID))
	}
	badDate := false
	if d := cell("date"); d != "" {
		day, err := time.Parse(time.DateOnly, d)
		if err != nil {
			badDate = true
			faults = append(faults, fmt.Errorf("date: %q is not a date; write it as 2026-06-30", d))
		}
		x.Day = day
	}
	number := func(name string) (float64, bool) {
		s := cell(name)
		if s == "" {
			return 0, false
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			faults = append(faults, fmt.Errorf("%s: %q is not a number; write it as 1.5", name, s))
			return 0, false
		}
		return v, true
	}
	before := len(faults)
	x.Hours, _ = number("hours")
	badHours := len(faults) > before
	if v, ok := number("water_temp_c"); ok {
		x.WaterC = &v
	}
	if v, ok := number(fahrenheit); ok {
		v = (v - 32) / 1.8
		x.WaterC = &v
	}
	checked := x // with cells that were found bad already made good: one fault each
	if badDate {
		checked.Day = opt.Now
	}
	if badHours {
		checked.Hours = 1
	}
	return x, errors.Join(append(faults, checked.Check(opt.Now))...)
}

// WriteCSV writes sightings so that ReadCSV reads the same.
func WriteCSV(w io.Writer, xs []Sighting) error {
	c := csv.NewWriter(w)
	var header []string
	for _, k := range columns {
		header = append(header, k.name)
	}
	lines := [][]string{header}
	for _, x := range xs {
		temp := ""
		if x.WaterC != nil {
			temp = strconv.FormatFloat(*x.WaterC, 'f', -1, 64)
		}
		lines = append(lines, []string{
			x.Date(), x.River, x.Group, x.Stage, string(x.Amount), strconv.FormatFloat(x.Hours, 'f', -1, 64),
			temp, x.Notes, x.Observer, x.ID,
		})
	}
	if err := c.WriteAll(slices.Clip(lines)); err != nil {
		return fmt.Errorf("writing sightings: %w", err)
	}
	return nil
}
