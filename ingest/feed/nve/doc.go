// Package nve reads saved answers of HydAPI, the service of the Norwegian
// Water Resources and Energy Directorate's gauges.
//
// One saved answer of /Observations enters; series in SI units and UTC leave.
// It must not fetch: the service needs a key, and only one answer was seen.
package nve
