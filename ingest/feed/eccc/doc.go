// Package eccc reads the hydrometric data of Environment and Climate Change
// Canada (Water Survey of Canada): the wateroffice service and the Datamart
// files as CSV, and GeoMet's collections as GeoJSON.
//
// A station enters through ingest.Request, or one saved response through Parser;
// series in SI units and UTC leave, with symbols and approval beside the
// values. It must not take the agency's local standard time for the clock on
// the wall.
package eccc
