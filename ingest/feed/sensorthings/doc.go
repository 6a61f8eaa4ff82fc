// Package sensorthings reads servers of the open standard OGC SensorThings API
// Part 1 (OGC 18-088), which the user names: no answer was recorded, so it
// follows the standard's text and not a server's habits.
//
// A thing's id enters through ingest.Request, or one saved response through
// Parser; series in SI units and UTC leave. It must not know any one agency,
// and no link inside an answer leads it to another host.
package sensorthings
