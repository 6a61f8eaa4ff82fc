package forecast

import (
	"fmt"
	"strings"

	"example.org/eclose/model/insects"
	"example.org/eclose/model/watertemp"
)

// An EvidenceCode says where the numbers of a stage come from: a grade of the
// catalogue; "sightings:N", N seasons of them at the river itself; or "records:N",
// N open records of its region.
type EvidenceCode string

// The grades that only a river can have, not the catalogue.
const (
	Sighted  insects.Grade = "sightings"
	Recorded insects.Grade = "records"
)

func evidenceOf(g insects.Grade, n int) EvidenceCode {
	return EvidenceCode(fmt.Sprintf("%s:%d", g, n))
}

// Grade is the code without its number.
func (c EvidenceCode) Grade() insects.Grade {
	g, _, _ := strings.Cut(string(c), ":")
	return insects.Grade(g)
}

// Words is the evidence as printed to people; "" where it is unknown.
func (c EvidenceCode) Words() string {
	_, n, _ := strings.Cut(string(c), ":")
	switch c.Grade() {
	case Sighted:
		return "sightings here (" + n + " seasons)"
	case Recorded:
		return "records (" + n + ")"
	default:
		return c.Grade().Words()
	}
}

// Word is the evidence in one word, for tables; records keep their number.
func (c EvidenceCode) Word() string {
	if c.Grade() == Recorded {
		return c.Words()
	}
	return c.Grade().Word()
}

// A BasisCode says what the catalogue's dates were collected over; see
// insects.Window.BasisCode.
type BasisCode string

// A WaterSource says where the water temperature comes from: MeasuredWater, or the
// watertemp.ModelGrade of a model with ":air+flow" or ":air" behind it, which drive it.
type WaterSource string

// MeasuredWater is that of the past, without a model.
const MeasuredWater WaterSource = "measured"

// Words is the source as printed to people.
func (s WaterSource) Words() string {
	if s == MeasuredWater {
		return "measured here"
	}
	model, drivers, _ := strings.Cut(string(s), ":")
	words := watertemp.ModelGrade(model).Words()
	switch drivers {
	case "air+flow":
		words += ", driven by air temperature and flow"
	case "air":
		words += ", driven by air temperature"
	}
	return words
}

// A WeatherSource says what stands for the weather ahead: PastSeasons, NoWeather, or
// "MxN+past-seasons", a forecast of M members for N days before them.
type WeatherSource string

// The sources without a weather forecast.
const (
	PastSeasons WeatherSource = "past-seasons"
	NoWeather   WeatherSource = "none" // past seasons' water stands in
)

// Words is the source as printed to people.
func (s WeatherSource) Words() string {
	if ahead, then, ok := strings.Cut(string(s), "+"); ok {
		members, days, _ := strings.Cut(ahead, "x")
		return members + "-member weather forecast for " + days + " days, then " + WeatherSource(then).Words()
	}
	switch s {
	case PastSeasons:
		return "past seasons' weather"
	case NoWeather:
		return "none; past seasons' water temperature, shifted by today's anomaly"
	}
	return string(s)
}

// former turns the words that earlier versions kept in the place of codes into
// codes, and leaves codes as they are. These words never change.
var former = strings.NewReplacer(
	"sightings here (", "sightings:", " seasons)", "", "records (", "records:",
	"measured at one site", "measured", "partly published, otherwise common practice", "part-published",
	"derived from published figures", "derived", "from a related insect", "proxy",
	"prior, estimated from calendar dates", "prior", "common practice, no source", "practice",
	"guess, no source", "guess", "our own default", "own",

	"one reach", "one-reach", "several reaches", "several-reaches", "a region's literature", "regional-book",
	"dated open records", "open-records", "months in a checklist", "checklist", "common practice", "common-practice",
	", adults in flight at light traps, not emergence", "+flight", " (", ":", ")", "",

	"model fitted here, less than a year of readings", "fitted-short", "model fitted here", "fitted", "measured here", "measured",
	"prior corrected by few readings, too few for a fit", "prior-corrected",
	"prior adjusted to a nearby river, no thermometer here", "prior-nearby", "prior, no thermometer here", "prior",
	", driven by air temperature and flow", ":air+flow", ", driven by air temperature", ":air",

	"none; past seasons' water temperature, shifted by today's anomaly", "none",
	"-member weather forecast for ", "x", " days, then past seasons' weather", "+past-seasons", "past seasons' weather", "past-seasons",

	"official, then statistics", "official+statistics", "not forecast: regulated", "withheld", "not forecast: too little flow", "unknown",
)

// UnmarshalText also reads the words of earlier versions.
func (c *EvidenceCode) UnmarshalText(b []byte) error { return formerly(c, b) }

// UnmarshalText also reads the words of earlier versions.
func (c *BasisCode) UnmarshalText(b []byte) error { return formerly(c, b) }

// UnmarshalText also reads the words of earlier versions.
func (s *WaterSource) UnmarshalText(b []byte) error { return formerly(s, b) }

// UnmarshalText also reads the words of earlier versions.
func (s *WeatherSource) UnmarshalText(b []byte) error { return formerly(s, b) }

// UnmarshalText also reads the words of earlier versions.
func (s *FlowSource) UnmarshalText(b []byte) error { return formerly(s, b) }

func formerly[C ~string](c *C, text []byte) error {
	*c = C(former.Replace(string(text)))
	return nil
}
