package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"time"

	"example.org/eclose/ingest/table"
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
	number := func(column, s string) (float64, error) {
		if column == "flow_m3s" {
			return flowOf(s)
		}
		return temperature(s)
	}
	first, v, err := table.Daily(name, in, []string{"air_c"}, []string{"water_c", "flow_m3s"}, number, nil)
	if err != nil {
		return watertemp.Input{}, err
	}
	if v[1] == nil { // a river without a thermometer
		v[1] = slices.Repeat([]float64{math.NaN()}, len(v[0]))
	}
	return watertemp.Input{Day0: dayNumber(first), Air: v[0], Water: v[1], Flow: v[2]}, nil
}

// flowOf reads a flow, m3/s. Water that runs backwards with the tide is missing.
func flowOf(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.Abs(v) > 1e6 {
		return 0, fmt.Errorf("%q is not a flow in m3/s; use a number or leave the cell empty", s)
	}
	if v < 0 {
		return math.NaN(), nil
	}
	return v, nil
}
