package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/model/watertemp"
)

// openWater reads a plain table from a file or from standard input.
func openWater(e *env, name string) (watertemp.Input, error) {
	if name == "-" {
		return readWater(name, e.stdin)
	}
	f, err := os.Open(name)
	if err != nil {
		return watertemp.Input{}, fmt.Errorf("reading temperatures: %w", err)
	}
	defer func() { _ = f.Close() }()
	return readWater(name, f)
}

func dayNumber(t time.Time) int { return int(t.Unix() / 86400) }

func dayDate(day int) string {
	return time.Unix(int64(day)*86400, 0).UTC().Format(time.DateOnly)
}

// readWater reads date, air_c, water_c and flow_m3s, in any order of columns and
// with others beside them. Days left out come back as NaN.
func readWater(name string, in io.Reader) (watertemp.Input, error) {
	var rec watertemp.Input
	r := csv.NewReader(in)
	r.FieldsPerRecord = -1
	r.Comment = '#'
	fail := func(line int, format string, args ...any) (watertemp.Input, error) {
		return watertemp.Input{}, fmt.Errorf("%s:%d: %w", name, line, fmt.Errorf(format, args...))
	}
	head, err := r.Read()
	if err != nil {
		return fail(1, "reading the header: %w", err)
	}
	for i := range head {
		head[i] = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(head[i], "\ufeff")))
	}
	var at [4]int
	for i, col := range []string{"date", "air_c", "water_c", "flow_m3s"} {
		if at[i] = slices.Index(head, col); at[i] < 0 && i < 3 {
			return fail(1, "column %q is missing: the header needs date, air_c and water_c (flow_m3s is optional)", col)
		}
	}
	first := true
	for {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return watertemp.Input{}, fmt.Errorf("%s: %w", name, err)
		}
		line, _ := r.FieldPos(0)
		if len(fields) <= slices.Max(at[:]) {
			return fail(line, "%d columns, %d are needed", len(fields), slices.Max(at[:])+1)
		}
		date, err := time.Parse(time.DateOnly, strings.TrimSpace(fields[at[0]]))
		if err != nil {
			return fail(line, "%q is not a date: write YYYY-MM-DD", fields[at[0]])
		}
		day := dayNumber(date)
		if first {
			rec.Day0, first = day, false
		}
		next := day - rec.Day0
		if next < len(rec.Air) {
			return fail(line, "%s is not later than the row before", date.Format(time.DateOnly))
		}
		const tooFar = 366 * 200
		if next > tooFar {
			return fail(line, "%s is more than 200 years after the first row", date.Format(time.DateOnly))
		}
		for len(rec.Air) < next {
			rec.Air, rec.Water, rec.Flow = append(rec.Air, math.NaN()), append(rec.Water, math.NaN()), append(rec.Flow, math.NaN())
		}
		air, err1 := temperature(fields[at[1]])
		water, err2 := temperature(fields[at[2]])
		q, err3 := math.NaN(), error(nil)
		if at[3] >= 0 {
			q, err3 = flowOf(fields[at[3]])
		}
		if err := errors.Join(err1, err2, err3); err != nil {
			return fail(line, "%w", err)
		}
		rec.Air, rec.Water, rec.Flow = append(rec.Air, air), append(rec.Water, water), append(rec.Flow, q)
	}
	if len(rec.Air) == 0 {
		return fail(2, "no days below the header")
	}
	if at[3] < 0 {
		rec.Flow = nil
	}
	return rec, nil
}

// flowOf reads a flow, m3/s; empty, NA and NaN are missing, and so is water that
// runs backwards with the tide.
func flowOf(s string) (float64, error) {
	s = strings.TrimSpace(s)
	if s == "" || strings.EqualFold(s, "na") || strings.EqualFold(s, "nan") {
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.Abs(v) > 1e6 {
		return 0, fmt.Errorf("%q is not a flow in m3/s; use a number or leave the cell empty", s)
	}
	if v < 0 {
		return math.NaN(), nil
	}
	return v, nil
}
