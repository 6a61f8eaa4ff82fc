package replay

// NWPS is the National Water Prediction Service of one gauge, by its own id and
// by its USGS number, and of another by its USGS number.
var NWPS = []Route{
	{Path: "/nwps/v1/gauges/ACRT2", File: "nwps/gauge-ACRT2-2026-09-26.trimmed.json", Type: "application/json"},
	{Path: "/nwps/v1/gauges/08158000", File: "nwps/gauge-ACRT2-2026-09-26.trimmed.json", Type: "application/json"},
	{Path: "/nwps/v1/gauges/01646500", File: "nwps/gauge-BRKM2-by-usgs-id.trimmed.json", Type: "application/json"},
	{Path: "/nwps/v1/gauges/ACRT2/stageflow", File: "nwps/stageflow-ACRT2-2026-09-26.trimmed.json", Type: "application/json"},
}
