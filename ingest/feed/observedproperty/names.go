package observedproperty

import (
	"net/url"
	"strings"

	"example.org/eclose/ingest"
)

// names: letters and digits of a property's last word, in lower case ->
// variable. Sources: CF standard names (cfconventions.org; recalled, not looked up:
// sea_water_temperature, air_temperature, relative_humidity, wind_speed,
// water_volume_transport_in_river_channel, precipitation_amount,
// surface_downwelling_shortwave_flux_in_air); USGS parameter names and codes;
// the rest is common English of agencies' catalogues, without a source.
//
// A bare "temperature" is in no row: it may be of air, of water or of the
// logger's box.
var names = map[string]ingest.Variable{
	"watertemperature": ingest.WaterTemperature, "temperaturewater": ingest.WaterTemperature, "seawatertemperature": ingest.WaterTemperature,
	"rivertemperature": ingest.WaterTemperature, "riverwatertemperature": ingest.WaterTemperature, "streamtemperature": ingest.WaterTemperature, "00010": ingest.WaterTemperature,
	"airtemperature": ingest.AirTemperature, "temperatureair": ingest.AirTemperature, "00020": ingest.AirTemperature,
	"discharge": ingest.Discharge, "streamflow": ingest.Discharge, "riverflow": ingest.Discharge, "riverdischarge": ingest.Discharge, "waterflow": ingest.Discharge,
	"watervolumetransportinriverchannel": ingest.Discharge, "00060": ingest.Discharge,
	"gageheight": ingest.GaugeHeight, "gaugeheight": ingest.GaugeHeight, "waterlevel": ingest.GaugeHeight, "riverlevel": ingest.GaugeHeight, "stage": ingest.GaugeHeight,
	"riverstage": ingest.GaugeHeight, "00065": ingest.GaugeHeight,
	"precipitation": ingest.Precipitation, "precipitationamount": ingest.Precipitation, "rainfall": ingest.Precipitation, "00045": ingest.Precipitation,
	"relativehumidity": ingest.RelativeHumidity, "windspeed": ingest.WindSpeed, "snowdepth": ingest.SnowDepth,
	"shortwaveradiation": ingest.ShortwaveRadiation, "surfacedownwellingshortwavefluxinair": ingest.ShortwaveRadiation,
}

// Of finds the variable that the first telling word stands for. A word may be
// a name ("Water temperature"), an address or a URN; of an address the
// parameter parmCd, else the part after the last slash, colon or hash, is
// read.
func Of(words ...string) (ingest.Variable, bool) {
	for _, w := range words {
		if v, ok := names[letters(last(w))]; ok {
			return v, true
		}
	}
	return "", false
}

func last(w string) string {
	if u, err := url.Parse(w); err == nil && u.Query().Has("parmCd") {
		return u.Query().Get("parmCd")
	}
	w = strings.TrimRight(w, "/#:")
	return w[strings.LastIndexAny(w, "/#:")+1:]
}

func letters(w string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		}
		return -1
	}, w)
}

// Unit takes a unit out of its address: the standards write "degC",
// "urn:ogc:def:uom:udunits:2:Cel" or "http://qudt.org/vocab/unit/DEG_C". A
// slash in "m3/s" is part of the unit.
func Unit(w string) string {
	low := strings.ToLower(w)
	if strings.HasPrefix(low, "urn:") || strings.HasPrefix(low, "http://") || strings.HasPrefix(low, "https://") {
		w = strings.TrimRight(w, "/#:")
		w = w[strings.LastIndexAny(w, "/#:")+1:]
	}
	return strings.ReplaceAll(w, "_", "")
}
