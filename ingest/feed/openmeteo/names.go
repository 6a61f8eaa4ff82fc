package openmeteo

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.org/eclose/ingest"
)

// meaning is what a column of an answer holds.
type meaning struct {
	variable  ingest.Variable
	statistic ingest.Statistic
	series    string            // goes into Key.TimeSeries before the model
	unit      string            // the unit this meaning holds for; "" for any that converts
	conv      ingest.Conversion // used if unit is set
}

// Open-Meteo counts 7 cm of fresh snow as 10 mm of water (its documentation of
// "snowfall"). A daily sum of radiation is in MJ/m2; spread over the 86,400 s
// of a day it is a mean in W/m2.
var (
	snowToWater = ingest.Conversion{Minus: 0, Times: 10, Over: 7}
	sumToMean   = ingest.Conversion{Minus: 0, Times: 1e6, Over: 86400}
)

// hourly: name of a column in the blocks "hourly" and "current" -> meaning.
// Instantaneous values hold at the stamp; sums and means cover the step that
// ends there (documentation of the forecast API). Old spellings stay, because
// saved answers keep them.
var hourly = map[string]meaning{
	"temperature_2m":            {variable: ingest.AirTemperature, statistic: ingest.Instant},
	"temperature":               {variable: ingest.AirTemperature, statistic: ingest.Instant}, // block current_weather
	"relative_humidity_2m":      {variable: ingest.RelativeHumidity, statistic: ingest.Instant},
	"relativehumidity_2m":       {variable: ingest.RelativeHumidity, statistic: ingest.Instant},
	"precipitation":             {variable: ingest.Precipitation, statistic: ingest.Sum},
	"snowfall_water_equivalent": {variable: ingest.Snowfall, statistic: ingest.Sum},
	"snowfall":                  {variable: ingest.Snowfall, statistic: ingest.Sum, unit: "cm", conv: snowToWater},
	"snow_depth":                {variable: ingest.SnowDepth, statistic: ingest.Instant},
	"wind_speed_10m":            {variable: ingest.WindSpeed, statistic: ingest.Instant},
	"windspeed_10m":             {variable: ingest.WindSpeed, statistic: ingest.Instant},
	"windspeed":                 {variable: ingest.WindSpeed, statistic: ingest.Instant},
	"shortwave_radiation":       {variable: ingest.ShortwaveRadiation, statistic: ingest.Mean},
	"cloud_cover":               {variable: ingest.CloudCover, statistic: ingest.Instant},
	"cloudcover":                {variable: ingest.CloudCover, statistic: ingest.Instant},
}

// daily: the same for the block "daily". A river's flow is a daily mean, also
// where the column is a percentile over the members.
var daily = map[string]meaning{
	"temperature_2m_max":            {variable: ingest.AirTemperature, statistic: ingest.Max},
	"temperature_2m_min":            {variable: ingest.AirTemperature, statistic: ingest.Min},
	"temperature_2m_mean":           {variable: ingest.AirTemperature, statistic: ingest.Mean},
	"relative_humidity_2m_mean":     {variable: ingest.RelativeHumidity, statistic: ingest.Mean},
	"precipitation_sum":             {variable: ingest.Precipitation, statistic: ingest.Sum},
	"snowfall_sum":                  {variable: ingest.Snowfall, statistic: ingest.Sum, unit: "cm", conv: snowToWater},
	"snowfall_water_equivalent_sum": {variable: ingest.Snowfall, statistic: ingest.Sum},
	"wind_speed_10m_max":            {variable: ingest.WindSpeed, statistic: ingest.Max},
	"windspeed_10m_max":             {variable: ingest.WindSpeed, statistic: ingest.Max},
	"wind_speed_10m_mean":           {variable: ingest.WindSpeed, statistic: ingest.Mean},
	"cloud_cover_mean":              {variable: ingest.CloudCover, statistic: ingest.Mean},
	"shortwave_radiation_sum":       {variable: ingest.ShortwaveRadiation, statistic: ingest.Mean, unit: "MJ/m²", conv: sumToMean},
	"river_discharge":               {variable: ingest.Discharge, statistic: ingest.Mean},
	"river_discharge_mean":          {variable: ingest.Discharge, statistic: ingest.Mean, series: "members-mean"},
	"river_discharge_median":        {variable: ingest.Discharge, statistic: ingest.Mean, series: "members-median"},
	"river_discharge_max":           {variable: ingest.Discharge, statistic: ingest.Mean, series: "members-max"},
	"river_discharge_min":           {variable: ingest.Discharge, statistic: ingest.Mean, series: "members-min"},
	"river_discharge_p25":           {variable: ingest.Discharge, statistic: ingest.Mean, series: "members-p25"},
	"river_discharge_p75":           {variable: ingest.Discharge, statistic: ingest.Mean, series: "members-p75"},
}

// models recognises the words that stand behind a column's name when several
// models were asked for. Without it precipitation_probability would be taken
// for the precipitation of a model named "probability".
var models = regexp.MustCompile(`^((archive_|flood_|forecast_|ensemble_)?best_match|` +
	`(seamless|forecast|consolidated)_v\d+|` +
	`(era5|ecmwf|icon|dwd|ncep|gfs|gefs|gem|cmc|bom|ukmo|meteofrance|arpege|arome|meteoswiss|metno|knmi|dmi|jma|kma|cma|italia|arpae|cerra|nbm|hrrr|google|geosphere|chmi)(_[a-z0-9_]+)?)$`)

// column is the name of a column taken apart.
type column struct {
	base   string // a name of the table
	member int    // 0 without a number, else the number
	model  string
}

// split takes a column's name apart: base, then member, then model. asked are
// models that the pattern need not know.
func split(name string, table map[string]meaning, asked []string) (column, bool) {
	for cut := len(name); cut > 0; cut = strings.LastIndexByte(name[:cut], '_') {
		base, rest := name[:cut], strings.TrimPrefix(name[cut:], "_")
		if _, ok := table[base]; !ok {
			continue
		}
		c := column{base: base}
		if word, after, _ := strings.Cut(rest, "_"); strings.HasPrefix(word, "member") {
			n, err := strconv.ParseUint(word[len("member"):], 10, 10)
			if err != nil || n == 0 {
				return column{}, false
			}
			c.member, rest = int(n), after
		}
		if rest != "" && !models.MatchString(rest) && !slices.Contains(asked, rest) {
			return column{}, false
		}
		c.model = rest
		return c, true
	}
	return column{}, false
}
