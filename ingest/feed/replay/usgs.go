package replay

// USGS is the Water Data API with the little that was recorded of it. The
// second page of continuous values was not recorded: it is an invented empty
// one, which also ends the paging.
var USGS = []Route{
	{Path: "/ogcapi/v1/collections/monitoring-locations/items", Query: map[string]string{"id": "USGS-01646500"}, File: "usgs-ogc-v1/monitoring-location-potomac.json"},
	{Path: "/ogcapi/v1/collections/daily/items", Query: map[string]string{"monitoring_location_id": "USGS-01646500"}, File: "usgs-ogc-v1/daily-potomac.json"},
	{Path: "/ogcapi/v1/collections/continuous/items", Query: map[string]string{"monitoring_location_id": "USGS-01646500", "cursor": ""}, File: "usgs-ogc-v1/continuous-potomac-page1.json"},
	{Path: "/ogcapi/v1/collections/continuous/items", Query: map[string]string{"monitoring_location_id": "USGS-01646500"}, Body: `{"type":"FeatureCollection","features":[],"numberReturned":0,"links":[]}`},
	{Path: "/ogcapi/v1/collections/monitoring-locations/items", Body: `{"type":"FeatureCollection","features":[],"numberReturned":0,"links":[]}`},
	{Path: "/statistics/v0/observationNormals", Query: map[string]string{"monitoring_location_id": "USGS-12451000", "parameter_code": "00060"}, File: "usgs-stats-api/observationNormals.json"},
	{Path: "/statistics/v0/observationNormals", Body: `{"type":"FeatureCollection","features":[],"next":null}`},
	{Path: "/ogcapi/v0/collections/latest-continuous/items", File: "usgs-ogc-v0/latest-continuous.json"},
	{Path: "/ogcapi/v0/collections/daily/items", Query: map[string]string{"monitoring_location_id": "USGS-05427718"}, File: "usgs-ogc-v0/daily.json"},
	{Path: "/ogcapi/v0/collections/continuous/items", Query: map[string]string{"monitoring_location_id": "USGS-06904500"}, File: "usgs-ogc-v0/continuous.json"},
}
