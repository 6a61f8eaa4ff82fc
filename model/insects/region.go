package insects

import (
	"fmt"
	"math"
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
	UKLowland        Region = "uk-lowland"
	BritishUpland    Region = "british-upland"
	EuropeLowland    Region = "europe-lowland"
	EuropeUpland     Region = "europe-upland"
	NZNorth          Region = "nz-north"
	NZSouth          Region = "nz-south"
	TasmaniaLowland  Region = "tasmania-lowland"
	TasmaniaHighland Region = "tasmania-highland"
	PatagoniaNorth   Region = "patagonia-north"
	PatagoniaSouth   Region = "patagonia-south"
)

// Regions is all of them: the northern ones west to east, then the southern.
var Regions = []Region{
	PacificNWCA, Rockies, UpperMidwest, AppalachiaMidAtl, Northeast,
	UKLowland, BritishUpland, EuropeLowland, EuropeUpland,
	PatagoniaNorth, PatagoniaSouth, TasmaniaHighland, TasmaniaLowland, NZSouth, NZNorth,
}

// regionInfo is what is known of a region beside its insects.
type regionInfo struct {
	words string
	areas []string // wider parts of the world that a trade name may belong to
	// Where its windows come from: about the middle of its trout rivers, and how
	// far their height strays from it. Our own estimates.
	latDeg, elevationM, elevationSDM float64
}

var regionTable = map[Region]regionInfo{
	PacificNWCA:      {"Pacific Northwest and California", []string{"us", "us-west"}, 44, 700, 400},
	Rockies:          {"Rocky Mountains", []string{"us", "us-west"}, 44, 1600, 450},
	UpperMidwest:     {"Upper Midwest and Great Lakes", []string{"us", "us-midwest", "us-east"}, 45, 280, 80},
	AppalachiaMidAtl: {"Appalachians and Mid-Atlantic", []string{"us", "us-east"}, 39, 400, 250},
	Northeast:        {"Northeast", []string{"us", "us-east"}, 43, 300, 150},
	UKLowland:        {"lowland Britain and Ireland", []string{"uk", "ie", "eu"}, 52, 60, 40},
	BritishUpland:    {"rain-fed rivers of Britain and Ireland", []string{"uk", "ie", "eu"}, 55, 150, 100},
	EuropeLowland:    {"lowlands of Europe", []string{"eu", "de"}, 52, 50, 50},
	EuropeUpland:     {"uplands of Europe", []string{"eu", "uk", "ie", "de"}, 49, 400, 300},
	PatagoniaNorth:   {"northern Patagonia", []string{"ar", "cl"}, -40, 600, 300},
	PatagoniaSouth:   {"southern Patagonia", []string{"ar", "cl"}, -49, 250, 200},
	TasmaniaHighland: {"highlands of Tasmania", []string{"au"}, -42, 900, 150},
	TasmaniaLowland:  {"lowlands of Tasmania", []string{"au"}, -42, 200, 100},
	NZSouth:          {"South Island of New Zealand", []string{"nz"}, -44, 300, 200},
	NZNorth:          {"North Island of New Zealand", []string{"nz"}, -39, 250, 150},
}

// Words is the region's name for people.
func (r Region) Words() string {
	if w := regionTable[r].words; w != "" {
		return w
	}
	return string(r)
}

// LatDeg is about where a region's windows come from, degrees north. Our own
// estimate.
func (r Region) LatDeg() (float64, bool) {
	info, ok := regionTable[r]
	return info.latDeg, ok
}

// Southern reports that the region lies south of the equator, where the seasons
// are reversed.
func (r Region) Southern() bool { return regionTable[r].latDeg < 0 }

// CheckLatitude refuses a place in the other hemisphere, degrees north: its
// seasons are half a year away from the region's.
func (r Region) CheckLatitude(latDeg float64) error {
	if latDeg == 0 || math.Signbit(latDeg) == r.Southern() {
		return nil
	}
	of, in := "northern", "southern"
	if r.Southern() {
		of, in = in, of
	}
	return fmt.Errorf("region %q is in the %s hemisphere, latitude %g in the %s; use one of %s",
		r, of, latDeg, in, regionKeys(latDeg < 0))
}

func regionKeys(southern bool) string {
	var keys []string
	for _, r := range Regions {
		if r.Southern() == southern {
			keys = append(keys, string(r))
		}
	}
	return strings.Join(keys, ", ")
}

var allAreas = []string{"any", "us", "us-west", "us-east", "us-midwest", "uk", "ie", "eu", "de", "nz", "au", "ar", "cl"}

// in reports whether a name of the area is used in the region.
func (r Region) in(area string) bool {
	return area == "any" || area == string(r) || slices.Contains(regionTable[r].areas, area)
}

var regionAliases = map[string]Region{
	"rocky mountains": Rockies, "rocky mountain": Rockies, "rocky": Rockies, "mountain west": Rockies, "montana": Rockies, "colorado": Rockies, "wyoming": Rockies, "idaho": Rockies, "utah": Rockies,
	"pacific northwest": PacificNWCA, "northwest": PacificNWCA, "pacific nw": PacificNWCA, "pnw": PacificNWCA, "california": PacificNWCA, "oregon": PacificNWCA, "washington": PacificNWCA,
	"midwest": UpperMidwest, "great lakes": UpperMidwest, "michigan": UpperMidwest, "wisconsin": UpperMidwest, "minnesota": UpperMidwest,
	"appalachia": AppalachiaMidAtl, "appalachian": AppalachiaMidAtl, "appalachians": AppalachiaMidAtl, "mid atlantic": AppalachiaMidAtl, "southeast": AppalachiaMidAtl,
	"new england": Northeast, "new york": Northeast, "us northeast": Northeast,
	"europe": EuropeUpland, "alps": EuropeUpland,
	"scotland": BritishUpland, "wales": BritishUpland, "rain fed": BritishUpland, "cumbria": BritishUpland, "devon": BritishUpland,
	"normandy": EuropeLowland, "denmark": EuropeLowland, "netherlands": EuropeLowland, "poland": EuropeLowland, "north germany": EuropeLowland,
	"uk": UKLowland, "england": UKLowland, "ireland": UKLowland, "britain": UKLowland, "chalk": UKLowland,
	"north island": NZNorth, "south island": NZSouth, "new zealand": NZSouth,
	"tasmania": TasmaniaLowland, "patagonia": PatagoniaNorth, "argentina": PatagoniaNorth, "chile": PatagoniaNorth, "tierra del fuego": PatagoniaSouth,
}

// ParseRegion reads a region's key or one of its plain names.
func ParseRegion(s string) (Region, error) {
	f := strings.ToLower(strings.TrimSpace(s))
	if _, ok := regionTable[Region(f)]; ok {
		return Region(f), nil
	}
	if r, ok := regionAliases[strings.ReplaceAll(f, "-", " ")]; ok {
		return r, nil
	}
	return "", fmt.Errorf("unknown region %q: use one of %s, %s", s, regionKeys(false), regionKeys(true))
}

// box is a part of the world between two parallels and two meridians.
type box struct {
	region                   Region
	south, north, west, east float64
}

// regionBoxes are read in order; the first that holds the point wins. Edges are
// our own default, drawn so that every gauge behind the regional temperatures
// falls into the region it was counted for. A box cannot see height or rock: a
// river on the wrong side of one names its region itself.
var regionBoxes = []box{
	{PacificNWCA, 32, 60, -140, -116},
	{Rockies, 31, 60, -116, -102},
	{UpperMidwest, 41, 55, -97.5, -82.3},
	{UpperMidwest, 45, 55, -82.3, -79.5},
	{Northeast, 41, 55, -80.6, -52},
	{Northeast, 41, 45, -82.3, -79.5},
	{AppalachiaMidAtl, 33, 41, -88, -73},

	{BritishUpland, 53, 53.4, -2.1, -1.55}, // the Derbyshire hills
	{UKLowland, 50.2, 53.4, -2.9, 0.5},
	{UKLowland, 50.8, 53.4, 0.5, 1.5},
	{UKLowland, 51.5, 53.4, 1.5, 2},
	{UKLowland, 53.4, 54.2, -0.9, 0.3}, // the Yorkshire chalk
	{UKLowland, 52.2, 54.2, -9, -6},    // the Irish midlands
	{BritishUpland, 49.8, 61, -11, -2.9},
	{BritishUpland, 53.4, 61, -2.9, 2},

	{EuropeLowland, 47.2, 51, -5.5, 3},    // Brittany to Picardy
	{EuropeLowland, 51, 55, 2, 7.3},       // the Low Countries
	{EuropeLowland, 52.2, 55, 7.3, 24},    // north Germany and Poland
	{EuropeLowland, 51, 52.2, 14, 24},     // Silesia to the Bug
	{EuropeLowland, 55, 57.9, 8, 12.8},    // Denmark
	{EuropeLowland, 55, 56.2, 12.8, 14.6}, // Scania
	{EuropeLowland, 55, 59.7, 20, 28.5},   // the Baltic countries
	{EuropeUpland, 36, 72, -11, 40},

	{PatagoniaNorth, -44, -36, -75, -67},
	{PatagoniaSouth, -56, -44, -76, -65},
	{TasmaniaHighland, -42.4, -41.5, 145.8, 146.95},
	{TasmaniaLowland, -43.8, -39.5, 144, 148.6},
	{NZNorth, -40.4, -34, 172.4, 179},
	{NZNorth, -41.8, -40.4, 174.55, 179},
	{NZSouth, -47.5, -40.4, 166, 174.55},
}

// RegionOf derives the region from a place in degrees (WGS 84, east and north
// positive). It says false for places the catalogue does not cover.
func RegionOf(latDeg, lonDeg float64) (Region, bool) {
	for _, b := range regionBoxes {
		if latDeg >= b.south && latDeg < b.north && lonDeg >= b.west && lonDeg < b.east {
			return b.region, true
		}
	}
	return "", false
}
