package replay

// NWS is api.weather.gov around Dallas, and a point it does not cover.
var NWS = []Route{
	{Path: "/points/32.778,-96.796", File: "nws/points-32.778--96.796-2024.json"},
	{Path: "/points/90,120.5517", File: "nws/problem-404-invalid-point.json", Code: 404, Type: "application/problem+json"},
	{Path: "/points/30,-85", File: "nws/points.json"},
	{Path: "/gridpoints/TAE/58,65", File: "nws/problem-503-grid-expired.json", Code: 503, Type: "application/problem+json"},
	{Path: "/gridpoints/FWD/89,104", File: "nws/gridpoints-FWD-89-104-2024.json"},
	{Path: "/stations/KFLL/observations", File: "nws/observations-multiple.json"},
	{Path: "/stations/KXXX/observations", File: "nws/observations-empty.json"},
}

// OpenMeteo answers for the recorded places; its live hosts are four, here
// they are one.
var OpenMeteo = []Route{
	{Path: "/v1/archive", Query: map[string]string{"latitude": "-15.8"}, File: "open-meteo/archive-hourly-other.json", Type: "application/json"},
	{Path: "/v1/archive", Query: map[string]string{"latitude": "0"}, File: "open-meteo/not-covered-nan-invalid-json.txt", Type: "application/json"},
	{Path: "/v1/forecast", Query: map[string]string{"latitude": "-15.8", "hourly": "temperature_2m"}, File: "open-meteo/forecast-hourly.json", Type: "application/json"},
	{Path: "/v1/forecast", Query: map[string]string{"latitude": "-12.5", "daily": "temperature_2m_max"}, File: "open-meteo/forecast-daily-all-null.json", Type: "application/json"},
	{Path: "/v1/forecast", Query: map[string]string{"latitude": "52.3"}, File: "open-meteo/error-400-second.json", Code: 400, Type: "application/json"},
	{Path: "/v1/ensemble", File: "open-meteo/ensemble-21-members-2026.json", Type: "application/json"},
	{Path: "/v1/flood", File: "open-meteo/flood-ensemble-two-models-2026.json", Type: "application/json"},
}

// GHCN is the access data service with two stations in the units that its file
// names tell.
var GHCN = []Route{
	{Path: "/access/services/data/v1", Query: map[string]string{"stations": "USC00042319"}, File: "ghcn/daily-summaries-USC00042319-2021-standard-units.csv"},
	{Path: "/access/services/data/v1", Query: map[string]string{"stations": "USW00024233"}, File: "ghcn/cdo-USW00024233-2014-tenths.csv"},
	{Path: "/access/services/data/v1", Body: "", Type: "text/csv"},
}
