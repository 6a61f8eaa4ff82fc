// Package export writes outlooks and other tables of the forecast for other
// people's tools: Parquet, Arrow, CSV and JSON for tables, GeoJSON for maps, ICS
// for calendars, each with units, schema version and the standing caution.
//
// A sequence of rows and a description of the file enter; bytes leave, streamed
// and with bounded memory, and a file appears under its name only when it is
// complete. It must not compute a forecast, know where rows come from, or let a
// type of the Arrow library out.
package export
