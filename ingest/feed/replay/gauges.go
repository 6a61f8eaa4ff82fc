package replay

// EA is the Environment Agency's two APIs. Quarter hours were not recorded.
var EA = []Route{
	{Path: "/hydrology/id/measures.json", Query: map[string]string{"station": "3c5cba29-2321-4289-a1fd-c355e135f4cb"}, File: "uk-ea-hydrology/measures-polson-bridge.json", Type: "application/json"},
	{Path: "/hydrology/id/measures.json", Body: `{"meta":{},"items":[]}`, Type: "application/json"},
	{Path: "/hydrology/id/measures/3c5cba29-2321-4289-a1fd-c355e135f4cb-flow-m-86400-m3s-qualified/readings.json", File: "uk-ea-hydrology/readings-daily-flow-2024-01.json", Type: "application/json"},
	{Path: "/hydrology/id/measures/3c5cba29-2321-4289-a1fd-c355e135f4cb-flow-min-86400-m3s-qualified/readings.json", Body: `{"items":[]}`, Type: "application/json"},
	{Path: "/hydrology/id/measures/3c5cba29-2321-4289-a1fd-c355e135f4cb-flow-max-86400-m3s-qualified/readings.json", Body: `{"items":[]}`, Type: "application/json"},
}

// ECCC is the Water Survey of Canada's. Neither service's answer was recorded:
// the first is invented after the agency's documentation, the second wraps
// recorded properties of an older GeoMet.
var ECCC = []Route{
	{Path: "/services/real_time_data/csv/inline", Query: map[string]string{"stations[]": "05BB001"}, Type: "text/csv", Body: "ID,Date,Parameter/Paramètre,Value/Valeur,Qualifier/Qualificatif,Symbol/Symbole,Approval/Approbation,Grade/Classification,Qualifiers/Qualificatifs\n" +
		"05BB001,2026-10-01 00:00:00,5,7.5,,,Provisional/Provisoire,,\n05BB001,2026-10-01 00:05:00,5,7.4,,,Provisional/Provisoire,,\n05BB001,2026-10-01 00:00:00,47,56.9,,B,Provisional/Provisoire,,\n"},
	{Path: "/services/real_time_data/csv/inline", Body: "", Type: "text/csv"},
	{Path: "/collections/hydrometric-daily-mean/items", Body: `{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[-115.5,51.1]},"properties":{"STATION_NUMBER":"05BB001","STATION_NAME":"BOW RIVER","DATE":"2025-12-01","LEVEL":null,"DISCHARGE":9.5,"DISCHARGE_SYMBOL_EN":"Ice Conditions"}}],"links":[]}`},
}
