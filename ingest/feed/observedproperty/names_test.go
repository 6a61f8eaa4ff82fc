package observedproperty

import (
	"testing"

	"example.org/eclose/ingest"
)

func TestPropertiesAreKnownByWordAddressAndURN(t *testing.T) {
	for _, c := range []struct {
		words []string
		want  ingest.Variable
	}{
		{[]string{"Water temperature"}, ingest.WaterTemperature},
		{[]string{"http://mmisw.org/ont/cf/parameter/sea_water_temperature"}, ingest.WaterTemperature},
		{[]string{"http://mmisw.org/ont/cf/parameter/air_temperature"}, ingest.AirTemperature},
		{[]string{"http://geo.example.org/properties/AirTemperature"}, ingest.AirTemperature},
		{[]string{"http://waterdata.usgs.gov/nwisweb/rdf?parmCd=00060"}, ingest.Discharge},
		{[]string{"urn:ogc:def:property:OGC:GageHeight"}, ingest.GaugeHeight},
		{[]string{"http://example.org/p/17/", "Rainfall"}, ingest.Precipitation},
		{[]string{"water_volume_transport_in_river_channel"}, ingest.Discharge},
		// Which of the three a bare word means cannot be known.
		{[]string{"Temperature", "http://example.org/temperature"}, ""},
		{[]string{"", "#", "://", "?parmCd=%zz"}, ""},
		{nil, ""},
	} {
		if got, ok := Of(c.words...); got != c.want || ok != (c.want != "") {
			t.Errorf("%q is %q, want %q", c.words, got, c.want)
		}
	}
}

func TestUnitsAreTakenOutOfTheirAddresses(t *testing.T) {
	for in, want := range map[string]string{"degC": "degC", "m3/s": "m3/s", "urn:ogc:def:uom:udunits:2:Cel": "Cel", "http://qudt.org/vocab/unit/DEG_C": "DEGC", "ft3/s": "ft3/s", "": ""} {
		if got := Unit(in); got != want {
			t.Errorf("%q is %q, want %q", in, got, want)
		}
	}
}
