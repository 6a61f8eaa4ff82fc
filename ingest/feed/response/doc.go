// Package response does what every feed needs to read an agency's response,
// whatever its format: it finds where the data begin, tells a truncated or
// foreign response from a good one, walks JSON, CSV and XML, and words the
// faults with a remedy.
//
// The bytes of a response enter; decoded members, rows or elements leave, or
// one *ingest.Error. It must not know any agency, any field or any variable.
package response
