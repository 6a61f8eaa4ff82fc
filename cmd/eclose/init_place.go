package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/eclose/ingest"
	"example.org/eclose/model/insects"
)

// placeOf reads an answer to "which river": coordinates, or a name and a state.
func placeOf(answer string) (near, state, words string, err error) {
	if _, _, err := parsePlace(answer); err == nil {
		return answer, "", "", nil
	}
	name, last, ok := strings.Cut(answer, ",")
	if last = strings.TrimSpace(last); !ok || len(last) != 2 {
		return "", "", "", errors.New("write latitude,longitude such as 44.73,-121.25, or a name and a two-letter state such as: deschutes, OR")
	}
	return "", strings.ToUpper(last), strings.TrimSpace(name), nil
}

// holdsWords reports whether a gauge's name holds every word of a few.
func holdsWords(name, words string) bool {
	name = strings.ToLower(name)
	for w := range strings.FieldsSeq(strings.ToLower(words)) {
		if !strings.Contains(name, w) {
			return false
		}
	}
	return true
}

// damInName reports whether a gauge's name speaks of a dam.
func damInName(name string) bool {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r == ' ' || r == ',' || r == '.' })
	for _, w := range []string{"dam", "reservoir", "tailwater", "powerhouse"} {
		if slices.Contains(words, w) {
			return true
		}
	}
	return false
}

// title writes a name that an agency has in capitals as people write it.
func title(name string) string {
	if name != strings.ToUpper(name) {
		return name
	}
	words := strings.Fields(strings.ToLower(name))
	for i, w := range words {
		switch w {
		case "at", "near", "nr", "above", "abv", "below", "blw", "of", "the":
		default:
			if len(w) == 2 && i == len(words)-1 {
				words[i] = strings.ToUpper(w) // a state
			} else {
				words[i] = strings.ToUpper(w[:1]) + w[1:]
			}
		}
	}
	return strings.Join(words, " ")
}

// gaugeLines lists gauges to choose from: name, what they measure and since when.
func gaugeLines(e *env, found []ingest.Gauge) []string {
	var out []string
	for _, g := range found[:min(len(found), chooseFrom)] {
		var what []string
		for _, v := range []ingest.Variable{ingest.WaterTemperature, ingest.Discharge} {
			if s := spanOf(g, v, e.now()); s != "" {
				what = append(what, wordOf(v)+" "+s)
			}
		}
		far := ""
		if !math.IsNaN(g.DistanceKm) {
			far = fmt.Sprintf("%3.0f km  ", g.DistanceKm)
		}
		out = append(out, far+padded(title(g.Name), 32)+" "+strings.Join(what, ", "))
	}
	return out
}

// chooseFrom is how many gauges are offered at once.
const chooseFrom = 9

// zoneAt guesses the time zone of a place by the agency's country and the longitude.
// The bounds are our own default; a state may lie on the other side of one, so that
// somebody who is asked can say otherwise.
func zoneAt(feedName string, lat, lon float64) string {
	first := func(bounds []zoneFrom) string {
		for _, b := range bounds {
			if lon >= b.lon {
				return b.zone
			}
		}
		return bounds[len(bounds)-1].zone
	}
	region, _ := insects.RegionOf(lat, lon)
	switch {
	case feedName == "eccc":
		return first([]zoneFrom{{-59.5, "America/St_Johns"}, {-68, "America/Halifax"}, {-90, "America/Toronto"}, {-101.5, "America/Winnipeg"}, {-110, "America/Regina"}, {-120, "America/Edmonton"}, {-180, "America/Vancouver"}})
	case feedName == "bafu":
		return "Europe/Zurich"
	case feedName == "ea", region == insects.UKLowland, region == insects.BritishUpland:
		return "Europe/London"
	case lat > 51 && lon < -130:
		return "America/Anchorage"
	case lat < 23 && lat > 18 && lon < -150:
		return "Pacific/Honolulu"
	case lat > 31.3 && lat < 37 && lon > -114.8 && lon < -109.05:
		return "America/Phoenix"
	case feedName == "usgs", lat > 24 && lat < 50 && lon < -60:
		return first([]zoneFrom{{-85.5, "America/New_York"}, {-101.5, "America/Chicago"}, {-114.1, "America/Denver"}, {-180, "America/Los_Angeles"}})
	case region == insects.NZNorth, region == insects.NZSouth:
		return "Pacific/Auckland"
	case region == insects.TasmaniaHighland, region == insects.TasmaniaLowland:
		return "Australia/Hobart"
	case region == insects.PatagoniaNorth, region == insects.PatagoniaSouth:
		return first([]zoneFrom{{-71.5, "America/Argentina/Salta"}, {-180, "America/Santiago"}})
	case lat > 35 && lon > -11 && lon < 40:
		return first([]zoneFrom{{22, "Europe/Helsinki"}, {-11, "Europe/Berlin"}})
	}
	return "UTC"
}

// zoneFrom is a zone that holds from a longitude eastward.
type zoneFrom struct {
	lon  float64
	zone string
}

// unitsAt is what people at a place measure in.
func unitsAt(zone string) string {
	switch zone {
	case "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix", "America/Los_Angeles", "America/Anchorage", "Pacific/Honolulu":
		return "us"
	}
	return "metric"
}
