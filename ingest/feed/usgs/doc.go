// Package usgs reads the USGS Water Data OGC API, versions 1 and 0, and the
// day-of-year normals of its statistics API.
//
// A site, variables and a span of time enter through ingest.Request, or one
// saved response (GeoJSON or CSV) through Parser; series in SI units and UTC
// leave, and, for the search of gauges and for wading, descriptions of sites,
// of time series and of measured channels. It must not know how series are
// kept or checked, and it never asks the legacy services.
package usgs
