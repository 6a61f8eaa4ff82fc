package insects

import (
	"fmt"
	"slices"
	"strings"
)

// Region is one of the parts of the world that calendar windows are given for.
// Height above the sea matters more inside a region than the region itself.
type Region string

// The regions of the embedded catalogue.
const (
	Rockies          Region = "rockies"
	PacificNWCA      Region = "pacific-nw-ca"
	UpperMidwest     Region = "upper-midwest"
	Northeast        Region = "northeast"
	AppalachiaMidAtl Region = "appalachia-midatl"
	EuropeUpland     Region = "europe-upland"
	UKLowland        Region = "uk-lowland"
)

// Regions is all of them, west to east.
var Regions = []Region{PacificNWCA, Rockies, UpperMidwest, AppalachiaMidAtl, Northeast, UKLowland, EuropeUpland}

var regionWords = map[Region]string{
	Rockies:          "Rocky Mountains",
	PacificNWCA:      "Pacific Northwest and California",
	UpperMidwest:     "Upper Midwest and Great Lakes",
	Northeast:        "Northeast",
	AppalachiaMidAtl: "Appalachians and Mid-Atlantic",
	EuropeUpland:     "uplands of Europe",
	UKLowland:        "lowland Britain and Ireland",
}

// Words is the region's name for people.
func (r Region) Words() string {
	if w := regionWords[r]; w != "" {
		return w
	}
	return string(r)
}

// areas are the wider parts of the world that a trade name may belong to.
var areas = map[Region][]string{
	Rockies:          {"us", "us-west"},
	PacificNWCA:      {"us", "us-west"},
	UpperMidwest:     {"us", "us-midwest", "us-east"},
	Northeast:        {"us", "us-east"},
	AppalachiaMidAtl: {"us", "us-east"},
	EuropeUpland:     {"eu", "uk", "ie", "de"},
	UKLowland:        {"uk", "ie", "eu"},
}

var allAreas = []string{"any", "us", "us-west", "us-east", "us-midwest", "uk", "ie", "eu", "de"}

// in tells whether a name of the area is used in the region.
func (r Region) in(area string) bool {
	return area == "any" || area == string(r) || slices.Contains(areas[r], area)
}

var regionAliases = map[string]Region{
	"rocky mountains": Rockies, "rocky mountain": Rockies, "rocky": Rockies, "mountain west": Rockies, "montana": Rockies, "colorado": Rockies, "wyoming": Rockies, "idaho": Rockies, "utah": Rockies,
	"pacific northwest": PacificNWCA, "northwest": PacificNWCA, "pacific nw": PacificNWCA, "pnw": PacificNWCA, "california": PacificNWCA, "oregon": PacificNWCA, "washington": PacificNWCA,
	"midwest": UpperMidwest, "great lakes": UpperMidwest, "michigan": UpperMidwest, "wisconsin": UpperMidwest, "minnesota": UpperMidwest,
	"appalachia": AppalachiaMidAtl, "appalachian": AppalachiaMidAtl, "appalachians": AppalachiaMidAtl, "mid atlantic": AppalachiaMidAtl, "southeast": AppalachiaMidAtl,
	"new england": Northeast, "new york": Northeast, "us northeast": Northeast,
	"europe": EuropeUpland, "alps": EuropeUpland, "scotland": EuropeUpland, "wales": EuropeUpland,
	"uk": UKLowland, "england": UKLowland, "ireland": UKLowland, "britain": UKLowland, "chalk": UKLowland,
}

// ParseRegion reads a region's key or one of its plain names.
func ParseRegion(s string) (Region, error) {
	f := strings.ToLower(strings.TrimSpace(s))
	if _, ok := regionWords[Region(f)]; ok {
		return Region(f), nil
	}
	if r, ok := regionAliases[strings.ReplaceAll(f, "-", " ")]; ok {
		return r, nil
	}
	keys := make([]string, len(Regions))
	for i, r := range Regions {
		keys[i] = string(r)
	}
	return "", fmt.Errorf("unknown region %q: use one of %s", s, strings.Join(keys, ", "))
}

// box is a part of the world between two parallels and two meridians.
type box struct {
	region                   Region
	south, north, west, east float64
}

// regionBoxes are read in order; the first that holds the point wins. Edges are
// our own default, drawn so that every gauge behind the regional temperatures
// falls into the region it was counted for.
var regionBoxes = []box{
	{PacificNWCA, 32, 60, -140, -116},
	{Rockies, 31, 60, -116, -102},
	{UpperMidwest, 41, 55, -97.5, -82.3},
	{UpperMidwest, 45, 55, -82.3, -79.5},
	{Northeast, 41, 55, -80.6, -52},
	{Northeast, 41, 45, -82.3, -79.5},
	{AppalachiaMidAtl, 33, 41, -88, -73},
	{UKLowland, 49.8, 53.4, -2.9, 2},
	{UKLowland, 52.2, 54.2, -9, -6},
	{EuropeUpland, 36, 72, -11, 40},
}

// RegionOf derives the region from a place in degrees (WGS 84, east and north
// positive). It says false for places the catalogue does not cover.
func RegionOf(lat, lon float64) (Region, bool) {
	for _, b := range regionBoxes {
		if lat >= b.south && lat < b.north && lon >= b.west && lon < b.east {
			return b.region, true
		}
	}
	return "", false
}
