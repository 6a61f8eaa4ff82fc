package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/model/insects"
)

// regionFrom reads a region from its name or from a place.
func regionFrom(name, near string) (insects.Region, error) {
	switch {
	case name != "" && near != "":
		return "", app.Usagef("give either --region or --near")
	case near != "":
		lat, lon, err := parsePlace(near)
		if err != nil {
			return "", err
		}
		r, ok := insects.RegionOf(lat, lon)
		if !ok {
			return "", app.Usagef("the catalogue has no region at %g, %g; choose the nearest with --region", lat, lon)
		}
		return r, nil
	case name == "":
		return "", nil
	}
	r, err := insects.ParseRegion(name)
	if err != nil {
		return "", app.Usage(err)
	}
	return r, nil
}

// parsePlace reads --near.
func parsePlace(near string) (latDeg, lonDeg float64, err error) {
	a, b, ok := strings.Cut(near, ",")
	lat, err1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	lon, err2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if !ok || err1 != nil || err2 != nil || !(math.Abs(lat) <= 90 && math.Abs(lon) <= 180) {
		return 0, 0, app.Usagef("--near %s: write latitude,longitude in degrees, such as 44.7,-121.2", near)
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
