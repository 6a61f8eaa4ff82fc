// Package nws reads the US National Weather Service's api.weather.gov:
// the forecast layers of a grid cell, hourly forecasts and observations.
//
// A place or a station enters through ingest.Request, or one saved response
// through Parser; hourly series in SI units and UTC leave. It must not know
// how series are kept, and no link inside an answer chooses where it asks.
package nws
