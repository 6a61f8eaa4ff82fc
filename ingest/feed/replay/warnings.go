package replay

// Warnings are the feeds of official warnings, below the folder "official" of
// the recorded data. Those of England and of MeteoAlarm were not recorded: they
// are invented after the services' documentation.
var Warnings = []Route{
	{Path: "/alerts/active", Query: map[string]string{"point": "45.5,-123.8"}, File: "warnings/nws-alerts_active_zone.json"},
	{Path: "/alerts/active", Query: map[string]string{"point": "51.5,"}, Type: "application/problem+json", Code: 400, Body: `{"type":"https://api.weather.gov/problems/InvalidParameter","title":"Invalid Parameter","status":400,"detail":"Parameter \"point\" is invalid: out of bounds"}`},
	{Path: "/alerts/active", Body: `{"@context":[],"type":"FeatureCollection","features":[],"title":"Current watches, warnings, and advisories","updated":"2026-05-18T12:00:00+00:00"}`},
	{Path: "/geomet", Query: map[string]string{"TYPENAMES": "Current-Alerts", "SERVICE": "WFS"}, File: "warnings/eccc-geomet-alerts_wfs.json"},
	{Path: "/flood-monitoring/id/floods", Query: map[string]string{"lat": "53.9", "long": "-1.8", "dist": "15"}, Type: "application/json", Body: EAFloods},
	{Path: "/flood-monitoring/id/floods", Type: "application/json", Body: `{"@context":"http://environment.data.gov.uk/flood-monitoring/meta/context.jsonld","meta":{},"items":[]}`},
	{Path: "/api/v1/warnings/feeds-italy", Type: "application/json", Body: MeteoAlarm},
}

// EAFloods are three items around the invented river Wend: an alert, a warning
// and one no longer in force.
const EAFloods = `{"@context":"http://environment.data.gov.uk/flood-monitoring/meta/context.jsonld","meta":{"publisher":"Environment Agency"},"items":[
{"@id":"http://environment.data.gov.uk/flood-monitoring/id/floods/900001","description":"Upper Wend","eaAreaName":"Fells","floodArea":{"@id":"http://environment.data.gov.uk/flood-monitoring/id/floodAreas/900WAF01","county":"Fells","notation":"900WAF01","polygon":"http://environment.data.gov.uk/flood-monitoring/id/floodAreas/900WAF01/polygon","riverOrSea":"River Wend"},"floodAreaID":"900WAF01","isTidal":false,"message":"River levels are rising.","severity":"Flood alert","severityLevel":3,"timeMessageChanged":"2026-05-18T10:05:00","timeRaised":"2026-05-18T10:00:00","timeSeverityChanged":"2026-05-18T10:00:00"},
{"@id":"http://environment.data.gov.uk/flood-monitoring/id/floods/900002","description":"Wend at Garrow","floodArea":{"notation":"900FWF02","riverOrSea":"River Wend"},"floodAreaID":"900FWF02","severity":"Flood warning","severityLevel":2,"timeRaised":"2026-05-18T11:00:00Z","timeSeverityChanged":"2026-05-18T11:00:00Z"},
{"@id":"http://environment.data.gov.uk/flood-monitoring/id/floods/900003","description":"Little Ash","floodArea":{"notation":"900WAF03"},"floodAreaID":"900WAF03","severity":"Warning no longer in force","severityLevel":4,"timeRaised":"2026-05-17T11:00:00","timeSeverityChanged":"2026-05-18T09:00:00"}]}`

// MeteoAlarm is a country's feed: a thunderstorm in one zone in two languages,
// the update of it, floods in a polygon, a green marker and a test.
const MeteoAlarm = `{"warnings":[
{"uuid":"u1","alert":{"identifier":"2.49.0.0.380.1","sender":"office@example.org","sent":"2026-05-18T08:00:00+02:00","status":"Actual","msgType":"Alert","scope":"Public","info":[
 {"language":"it-IT","event":"Temporali","category":["Met"],"urgency":"Future","severity":"Moderate","certainty":"Likely","onset":"2026-05-18T14:00:00+02:00","expires":"2026-05-18T23:59:59+02:00","headline":"Temporali","senderName":"Ufficio","area":[{"areaDesc":"Alto Wend","geocode":[{"valueName":"EMMA_ID","value":"IT002"}]}],"parameter":[{"valueName":"awareness_level","value":"2; yellow; Moderate"},{"valueName":"awareness_type","value":"3; Thunderstorm"}]},
 {"language":"en-GB","event":"Yellow Thunderstorm Warning","category":["Met"],"urgency":"Future","severity":"Moderate","certainty":"Likely","effective":"2026-05-18T08:00:00+02:00","onset":"2026-05-18T14:00:00+02:00","expires":"2026-05-18T23:59:59+02:00","headline":"Thunderstorms","senderName":"Office of the Fells","web":"https://example.org/warnings","area":[{"areaDesc":"Alto Wend","geocode":[{"valueName":"EMMA_ID","value":"IT002"}]}],"parameter":[{"valueName":"awareness_level","value":"2; yellow; Moderate"},{"valueName":"awareness_type","value":"3; Thunderstorm"}]}]}},
{"uuid":"u2","alert":{"identifier":"2.49.0.0.380.2","sender":"office@example.org","sent":"2026-05-18T10:00:00+02:00","status":"Actual","msgType":"Update","references":"office@example.org,2.49.0.0.380.1,2026-05-18T08:00:00+02:00","info":[
 {"language":"en-GB","event":"Orange Thunderstorm Warning","urgency":"Future","severity":"Moderate","certainty":"Likely","onset":"2026-05-18T13:00:00+02:00","expires":"2026-05-18T23:59:59+02:00","senderName":"Office of the Fells","area":[{"areaDesc":"Alto Wend","geocode":[{"valueName":"EMMA_ID","value":"IT002"}]}],"parameter":[{"valueName":"awareness_level","value":"3; orange; Severe"},{"valueName":"awareness_type","value":"3; Thunderstorm"}]}]}},
{"uuid":"u3","alert":{"identifier":"2.49.0.0.380.3","sender":"office@example.org","sent":"2026-05-18T10:00:00+02:00","status":"Actual","msgType":"Alert","info":[
 {"language":"en-GB","event":"Flood","urgency":"Immediate","severity":"Severe","certainty":"Observed","onset":"2026-05-18T10:00:00+02:00","expires":"2026-05-19T10:00:00+02:00","area":[{"areaDesc":"Basso Wend","polygon":["45.0,10.0 46.0,10.0 46.0,11.0 45.0,11.0 45.0,10.0"],"geocode":[]}],"parameter":[{"valueName":"awareness_level","value":"4; red; Extreme"},{"valueName":"awareness_type","value":"12; Flooding"}]}]}},
{"uuid":"u4","alert":{"identifier":"2.49.0.0.380.4","sender":"office@example.org","sent":"2026-05-18T10:00:00+02:00","status":"Actual","msgType":"Alert","info":[
 {"language":"en-GB","event":"No warning","severity":"Minor","expires":"2026-05-19T10:00:00+02:00","area":[{"areaDesc":"Alto Wend","geocode":[{"valueName":"EMMA_ID","value":"IT002"}]}],"parameter":[{"valueName":"awareness_level","value":"1; green; Minor"},{"valueName":"awareness_type","value":"12; Flooding"}]}]}},
{"uuid":"u5","alert":{"identifier":"2.49.0.0.380.5","sender":"office@example.org","sent":"2026-05-18T10:00:00+02:00","status":"Test","msgType":"Alert","info":[
 {"language":"en-GB","event":"Flood","severity":"Severe","expires":"2026-05-19T10:00:00+02:00","area":[{"areaDesc":"Alto Wend","geocode":[{"valueName":"EMMA_ID","value":"IT002"}]}]}]}}]}`
