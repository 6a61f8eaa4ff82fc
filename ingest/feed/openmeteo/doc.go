// Package openmeteo reads the weather archive, forecast, ensemble and river
// flow answers of Open-Meteo.
//
// A place, variables and a span of time enter through ingest.Request, or one
// saved response through Parser; series in SI units and UTC leave, one for each
// ensemble member. It must not know how series are kept, and it does not fetch
// before the user has accepted that free use is for non-commercial purposes.
package openmeteo
