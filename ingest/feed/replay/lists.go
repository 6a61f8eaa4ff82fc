package replay

import (
	"strconv"
	"strings"
)

// Lists are answers to a search for gauges around 50.6 north, 4.3 west or
// wherever else: every agency has the same five invented gauges, so that one
// test fits all. None was recorded, and no recorded site is in them; each
// follows its agency's documentation (see the find.go of each feed).
//
//	near    0.0 km away, water temperature and flow
//	far    11.1 km away, water temperature
//	dry     3.3 km away, flow only
//	corner 46.5 km away: in the box around 40 km, out of the circle
//	lost   no place is told
var Lists = map[string][]Route{
	"usgs": {
		{Path: "/ogcapi/v1/collections/time-series-metadata/items", Query: map[string]string{"bbox": ",", "parameter_code": "00010"}, Body: features(
			usgsSeries("USGS-90000001", "a1", "00010", "2010-05-01T07:00:00+00:00", "2026-05-17T07:00:00+00:00"), usgsSeries("USGS-90000001", "a2", "00060", "1990-05-01T07:00:00+00:00", "2026-05-17T07:00:00+00:00"),
			usgsSeries("USGS-90000001", "a0", "00010", "1960-05-01T07:00:00+00:00", "1967-05-01T07:00:00+00:00"),
			usgsSeries("USGS-90000002", "b1", "00010", "2010-05-01T07:00:00+00:00", "2019-05-01T07:00:00+00:00"), usgsSeries("USGS-90000003", "c1", "00060", "1990-05-01T07:00:00+00:00", "2026-05-17T07:00:00+00:00"),
			usgsSeries("USGS-90000004", "d1", "00010", "2010-05-01T07:00:00+00:00", "2026-05-17T07:00:00+00:00"), usgsSeries("USGS-90000005", "e1", "00010", "2010-05-01T07:00:00+00:00", "2026-05-17T07:00:00+00:00"))},
		{Path: "/ogcapi/v1/collections/time-series-metadata/items", Query: map[string]string{"state_name": "Oregon"}, Body: features(usgsSeries("USGS-90000001", "a1", "00010", "2010-05-01T07:00:00+00:00", "2026-05-17T07:00:00+00:00"))},
		{Path: "/ogcapi/v1/collections/monitoring-locations/items", Query: map[string]string{"id": "USGS-90000001"}, Body: features(
			usgsSite("90000001", "WEND NEAR GARROW", 50.6, -4.3), usgsSite("90000002", "WEND BELOW GARROW", 50.7, -4.3), usgsSite("90000003", "LITTLE ASH", 50.63, -4.3), usgsSite("90000004", "GARROW", 50.9, -3.84),
			strings.Replace(usgsSite("90000005", "LOST BECK", 1, 1), `"geometry":{"type":"Point","coordinates":[1,1]}`, `"geometry":null`, 1))},
	},
	"ea": {
		{Path: "/hydrology/id/stations.json", Query: map[string]string{"dist": "40", "lat": "50.6", "long": "-4.3", "observedProperty": ""}, Type: "application/json", Body: `{"meta":{},"items":[` + strings.Join([]string{
			eaStation("1", `"Wend near Garrow"`, `"lat":50.6,"long":-4.3,"status":[{"label":"Active"}],"dateOpened":"2010-05-01"`, "temp-i-subdaily-C", "flow-i-900-m3s-qualified", "ph-i-subdaily-ph"),
			eaStation("2", `["Wend below Garrow","Garrow Bridge"]`, `"lat":[50.7,50.71],"long":[-4.3,-4.3],"status":{"label":"Suspended"}`, "temp-i-subdaily-C"),
			eaStation("3", `"Little Ash"`, `"lat":50.63,"long":-4.3`, "flow-i-900-m3s-qualified"),
			eaStation("4", `"Garrow"`, `"lat":50.9,"long":-3.84`, "temp-i-subdaily-C"),
			eaStation("5", `"Lost Beck"`, `"easting":1`, "temp-i-subdaily-C"),
		}, ",") + `]}`},
		{Path: "/hydrology/id/stations.json", Type: "application/json", Body: `{"meta":{},"items":[]}`},
	},
	"eccc": {
		{Path: "/collections/hydrometric-stations/items", Query: map[string]string{"bbox": ",50.24"}, Body: features(
			ecccStation("01AA001", "WEND NEAR GARROW", "[-4.3,50.6]", 1), ecccStation("01AA002", "WEND BELOW GARROW", "[-4.3,50.7]", 1), ecccStation("01AA003", "LITTLE ASH", "[-4.3,50.63]", 1), ecccStation("01AA004", "GARROW", "[-3.84,50.9]", 1),
			ecccStation("01AA005", "LOST BECK", "[]", 1), ecccStation("01AA006", "WEND, DISCONTINUED", "[-4.3,50.6]", 0))},
		{Path: "/collections/hydrometric-stations/items", Query: map[string]string{"PROV_TERR_STATE_LOC": "BC"}, Body: features(ecccStation("01AA001", "WEND NEAR GARROW", "[-4.3,50.6]", 1))},
		{Path: "/collections/hydrometric-stations/items", Body: features()},
		{Path: "/services/real_time_data/csv/inline", Query: map[string]string{"stations[]": "01AA001"}, Type: "text/csv", Body: "ID,Date,Parameter/Paramètre,Value/Valeur,Qualifier/Qualificatif,Symbol/Symbole,Approval/Approbation,Grade/Classification,Qualifiers/Qualificatifs\n" +
			"01AA001,2026-05-18 11:50:00,5,9.5,,,Provisional/Provisoire,,\n01AA001,2026-05-18 11:55:00,5,9.6,,,Provisional/Provisoire,,\n01AA001,2026-05-18 11:55:00,47,3.1,,,Provisional/Provisoire,,\n" +
			"01AA002,2026-05-18 10:00:00,41,9.9,,,Provisional/Provisoire,,\n01AA002,2026-05-18 11:00:00,41,,,,Provisional/Provisoire,,\n01AA003,2026-05-18 11:55:00,47,0.4,,,Provisional/Provisoire,,\n"},
	},
	"sensorthings": {
		{Path: "/v1.1/Things", Query: map[string]string{"$filter": "POLYGON((-4.86", "$expand": "Locations,Datastreams($expand=ObservedProperty)"}, Type: "application/json", Body: `{"value":[` + strings.Join([]string{
			thing("1", "Wend near Garrow", "-4.3,50.6", stream("11", "Water temperature", "2010-05-01T00:00:00Z/2026-05-18T11:00:00Z")+","+stream("12", "Streamflow", "")),
			thing(`"w:2"`, "Wend below Garrow", "-4.3,50.7", stream("21", "Water temperature", "2010-05-01T00:00:00Z/2019-05-01T00:00:00Z")),
			thing("3", "Little Ash", "-4.3,50.63", stream("31", "Streamflow", "")),
			thing("4", "Garrow", "-3.84,50.9", stream("41", "Water temperature", "")),
			strings.Replace(thing("5", "Lost Beck", "1,1", stream("51", "Water temperature", "")), `"type":"Point"`, `"type":"Nowhere"`, 1),
			thing(`"7)/../x"`, "Crooked id", "-4.3,50.6", stream("71", "Water temperature", "")),
		}, ",") + `]}`},
		{Path: "/v1.1/Things", Type: "application/json", Body: `{"value":[]}`},
	},
}

func features(list ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(list, ",") + `],"links":[]}`
}

func usgsSeries(site, id, parameter, begin, end string) string {
	return `{"type":"Feature","id":"` + id + `","properties":{"monitoring_location_id":"` + site + `","parameter_code":"` + parameter + `","statistic_id":"00003","computation_identifier":"Mean","computation_period_identifier":"Daily","unit_of_measure":"x","primary":"Primary","begin_utc":"` + begin + `","end_utc":"` + end + `"}}`
}

func usgsSite(number, name string, lat, lon float64) string {
	return `{"type":"Feature","id":"USGS-` + number + `","geometry":{"type":"Point","coordinates":[` + plain(lon) + `,` + plain(lat) + `]},"properties":{"monitoring_location_number":"` + number + `","monitoring_location_name":"` + name + `","site_type_code":"ST","agency_code":"USGS"}}`
}

func eaStation(n, label, more string, measures ...string) string {
	id := "00000000-0000-4000-8000-00000000000" + n
	for i, m := range measures {
		measures[i] = `{"@id":"http://environment.data.gov.uk/hydrology/id/measures/` + id + `-` + m + `","parameter":"x"}`
	}
	return `{"@id":"http://environment.data.gov.uk/hydrology/id/stations/` + id + `","label":` + label + `,` + more + `,"measures":[` + strings.Join(measures, ",") + `]}`
}

func ecccStation(number, name, xy string, realTime float64) string {
	return `{"type":"Feature","id":"` + number + `","geometry":{"type":"Point","coordinates":` + xy + `},"properties":{"STATION_NUMBER":"` + number + `","STATION_NAME":"` + name + `","PROV_TERR_STATE_LOC":"BC","STATUS_EN":"Active","REAL_TIME":` + plain(realTime) + `}}`
}

func thing(id, name, xy, streams string) string {
	return `{"@iot.id":` + id + `,"name":"` + name + `","Locations":[{"location":{"type":"Point","coordinates":[` + xy + `]}}],"Datastreams":[` + streams + `]}`
}

func stream(id, property, span string) string {
	return `{"@iot.id":` + id + `,"name":"x","unitOfMeasurement":{"symbol":"x"},"phenomenonTime":"` + span + `","ObservedProperty":{"name":"` + property + `"}}`
}

func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
