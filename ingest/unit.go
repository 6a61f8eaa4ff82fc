package ingest

import (
	"fmt"
	"strings"
)

// Conversion turns a value in an agency's unit into ours:
//
//	ours = (value - Minus) * Times / Over
//
// Division is kept apart from multiplication so that 50 °F is exactly 10 °C.
type Conversion struct{ Minus, Times, Over float64 }

// Apply converts one value; NaN stays NaN.
func (c Conversion) Apply(value float64) float64 { return (value - c.Minus) * c.Times / c.Over }

var same = Conversion{0, 1, 1}

// The foot is 0.3048 m exactly and the inch 25.4 mm exactly (international
// yard and pound agreement, 1959; NIST Special Publication 811, 2008, appendix
// B). A cubic foot is therefore 0.028316846592 m3 and a square foot
// 0.09290304 m2, exactly. t/°C = (t/°F - 32)/1.8 and t/°C = T/K - 273.15 (same
// source, B.8). The statute mile is 1609.344 m, the nautical mile 1852 m.
const (
	footInM    = 0.3048
	inchInMM   = 25.4
	mileInM    = 1609.344
	seaMileInM = 1852.0
)

// conversions: our unit -> spelling of the agency's unit in lower case, with
// blanks, carets and the prefix of a code list taken away -> conversion.
var conversions = map[string]map[string]Conversion{
	"°C": {
		"°c": same, "degc": same, "c": same, "cel": same, "celsius": same, "degreescelsius": same, "degreecelsius": same,
		"°f": {32, 5, 9}, "degf": {32, 5, 9}, "f": {32, 5, 9}, "[degf]": {32, 5, 9}, "fahrenheit": {32, 5, 9}, "degreesfahrenheit": {32, 5, 9},
		"k": {273.15, 1, 1}, "kelvin": {273.15, 1, 1},
		"0.1°c": {0, 1, 10}, "0.1degc": {0, 1, 10},
	},
	"m3/s": {
		"m3/s": same, "m³/s": same, "m3s": same, "cms": same, "m3/sec": same, "m3s-1": same, "cumecs": same,
		"ft3/s": {0, footInM * footInM * footInM, 1}, "ft³/s": {0, footInM * footInM * footInM, 1}, "cfs": {0, footInM * footInM * footInM, 1},
		"ft3/sec": {0, footInM * footInM * footInM, 1}, "[cft_i]/s": {0, footInM * footInM * footInM, 1}, "cubicfeetpersecond": {0, footInM * footInM * footInM, 1},
		"l/s": {0, 1, 1000}, "kcfs": {0, 1000 * footInM * footInM * footInM, 1},
	},
	"m": {
		"m": same, "meters": same, "metres": same, "masd": same, "maod": same, "mü.m.": same, "masl": same,
		"cm": {0, 1, 100}, "mm": {0, 1, 1000},
		"ft": {0, footInM, 1}, "feet": {0, footInM, 1}, "[ft_i]": {0, footInM, 1}, "in": {0, inchInMM, 1000},
	},
	"mm": {
		"mm": same, "kg/m2": same, "kg/m²": same, "kgm-2": same,
		"cm": {0, 10, 1}, "m": {0, 1000, 1}, "in": {0, inchInMM, 1}, "inch": {0, inchInMM, 1}, "inches": {0, inchInMM, 1},
		"0.1mm": {0, 1, 10},
	},
	"m2":   {"m2": same, "m²": same, "ft2": {0, footInM * footInM, 1}, "ft²": {0, footInM * footInM, 1}, "[sft_i]": {0, footInM * footInM, 1}},
	"W/m2": {"w/m2": same, "w/m²": same, "wm-2": same},
	"%":    {"%": same, "percent": same},
	"FNU":  {"fnu": same, "_fnu": same, "formazinnephelometricunits(fnu)": same},
	"m/s": {
		"m/s": same, "m/sec": same, "ms-1": same, "m_s-1": same,
		"km/h": {0, 1, 3.6}, "kmh": {0, 1, 3.6}, "km_h-1": {0, 1, 3.6}, "kph": {0, 1, 3.6},
		"ft/s": {0, footInM, 1}, "ft/sec": {0, footInM, 1},
		"mph": {0, mileInM, 3600}, "mp/h": {0, mileInM, 3600}, "kn": {0, seaMileInM, 3600}, "kt": {0, seaMileInM, 3600},
	},
}

var spelling = strings.NewReplacer(" ", "", "^", "", "wmounit:", "", "unit:", "", "&#176;", "°", "&#179;", "³", "&#178;", "²")

// unitExamples are units that people write, by our unit.
var unitExamples = map[string]string{"°C": "°C or °F", "m3/s": "m3/s, ft3/s or cfs", "m": "m, cm or ft", "mm": "mm, cm or in", "m/s": "m/s, km/h, ft/s or mph", "W/m2": "W/m2", "%": "%", "m2": "m2 or ft2"}

// UnitExamples are units that values of v may come in, for people who misspelt one.
func UnitExamples(v Variable) string {
	if s := unitExamples[v.Unit()]; s != "" {
		return s
	}
	return v.Unit()
}

// ConversionOf finds how a value of v, in the unit as the agency wrote it,
// becomes one in v.Unit(). A unit it does not know is an *Error, because a
// guess would put feet where metres are meant.
func ConversionOf(v Variable, unit string) (Conversion, error) {
	c, ok := conversions[v.Unit()][spelling.Replace(strings.ToLower(unit))]
	if !ok {
		return Conversion{}, &Error{
			Where:   "unit of " + string(v),
			Problem: fmt.Sprintf("unit %q cannot be converted to %s", unit, v.Unit()),
			Hint:    "the agency may have renamed it; report it with the saved response",
		}
	}
	return c, nil
}
