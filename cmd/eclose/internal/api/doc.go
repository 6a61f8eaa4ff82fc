// Package api answers other programs: rivers, forecasts, series, cautions and scores
// over HTTP, described by an OpenAPI document that is made from the Go types.
//
// The data of the pages, issued outlooks and the report of a backtest enter; JSON,
// CSV, GeoJSON and CoverageJSON leave, to read only, each answer about a river with
// its caution. It must not compute a forecast, change anything, or know a
// subscriber or who keeps the diary.
package api
