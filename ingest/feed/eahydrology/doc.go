// Package eahydrology reads the two water services of the Environment Agency
// of England: the Hydrology API and the flood-monitoring API.
//
// A station enters through ingest.Request, or one saved response through Parser;
// series in SI units and UTC leave, with the agency's word on each value's
// quality. It must not pair the agency's day, which begins at 09:00, with days
// that begin at midnight: it only says where its day begins.
package eahydrology
