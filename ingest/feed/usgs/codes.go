package usgs

import (
	"fmt"
	"strings"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "usgs"

const feed response.Feed = FeedName

// Parameter is one USGS parameter code that maps to one of our variables.
type Parameter struct {
	Code     string
	Variable ingest.Variable
	Unit     string // as the parameter's definition states it
	Words    string // words of the parameter's description, to recognise it by
}

// parameters follows the USGS table of parameter codes
// (help.waterdata.usgs.gov/codes-and-parameters/parameters). Codes that look
// alike but measure something else are left out on purpose: 63160 and 62614
// are levels above a datum, 00055 is a velocity at one point, 00062 the level
// of a reservoir.
var parameters = map[string]Parameter{
	"00010": {"00010", ingest.WaterTemperature, "deg C", "degrees celsius"},
	"00011": {"00011", ingest.WaterTemperature, "deg F", "degrees fahrenheit"},
	"00020": {"00020", ingest.AirTemperature, "deg C", "degrees celsius"},
	"00021": {"00021", ingest.AirTemperature, "deg F", "degrees fahrenheit"},
	"00045": {"00045", ingest.Precipitation, "in", "inches"},
	"00060": {"00060", ingest.Discharge, "ft3/s", "cubic feet per second"},
	"00061": {"00061", ingest.Discharge, "ft3/s", "cubic feet per second"},
	"00065": {"00065", ingest.GaugeHeight, "ft", "feet"},
	"30207": {"30207", ingest.GaugeHeight, "m", "meters"},
	"63680": {"63680", ingest.Turbidity, "FNU", "formazin nephelometric units"},
	"30208": {"30208", ingest.Discharge, "m3/s", "cubic meters per second"},
}

// statisticOf maps a USGS statistic code. An empty code, and 00000 of the
// legacy services, stand for values as they were measured.
func statisticOf(code string) (ingest.Statistic, bool) {
	switch code {
	case "", "00000", "00011":
		return ingest.Instant, true
	case "00001":
		return ingest.Max, true
	case "00002":
		return ingest.Min, true
	case "00003":
		return ingest.Mean, true
	case "00006":
		return ingest.Sum, true
	case "00008":
		return ingest.Median, true
	}
	return "", false
}

// codesFor lists the parameter codes to ask for, in a fixed order.
func codesFor(vars []ingest.Variable) []string {
	var out []string
	for _, code := range []string{"00010", "00011", "00060", "00065", "63680", "00020", "00021", "00045"} {
		for _, v := range vars {
			if parameters[code].Variable == v {
				out = append(out, code)
			}
		}
	}
	return out
}

// SiteID is the site as the feed names it: a bare number gets the agency in
// front. Site numbers have 8 to 15 digits and are text, never a number.
func SiteID(site string) (string, error) {
	agency, number, ok := strings.Cut(site, "-")
	if !ok {
		agency, number = "USGS", site
	}
	if len(number) < 8 || len(number) > 15 || strings.Trim(number, "0123456789") != "" || agency == "" || strings.Trim(agency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") != "" {
		return "", &ingest.Error{Feed: FeedName, Where: fmt.Sprintf("site %q", site), Problem: "is not a USGS site number",
			Hint: "write 8 to 15 digits, such as 14076500, or AGENCY-number; 'eclose gauges find' lists them"}
	}
	return agency + "-" + number, nil
}

// zones maps the abbreviation of a site's standard time, with and without
// daylight saving, to an IANA zone that keeps the same clock today. Parts of
// Indiana and of Canada kept other rules in the past.
var zones = map[string][2]string{
	"AST":  {"America/Puerto_Rico", "America/Halifax"},
	"EST":  {"Etc/GMT+5", "America/New_York"},
	"CST":  {"Etc/GMT+6", "America/Chicago"},
	"MST":  {"America/Phoenix", "America/Denver"},
	"PST":  {"Etc/GMT+8", "America/Los_Angeles"},
	"AKST": {"Etc/GMT+9", "America/Anchorage"},
	"HST":  {"Pacific/Honolulu", "America/Adak"},
	"GST":  {"Pacific/Guam", "Pacific/Guam"},
	"SST":  {"Pacific/Pago_Pago", "Pacific/Pago_Pago"},
	"UTC":  {"UTC", "UTC"},
	"GMT":  {"UTC", "UTC"},
}

// zoneOf is the IANA zone for an abbreviation of standard time, or "".
func zoneOf(abbreviation string, daylightSaving bool) string {
	z, ok := zones[strings.TrimSpace(abbreviation)]
	switch {
	case !ok:
		return ""
	case daylightSaving:
		return z[1]
	}
	return z[0]
}
