// Package gbif reads the occurrence search of the Global Biodiversity
// Information Facility, version 1.
//
// A place, taxa and a time enter, or a saved response; records of occurrences
// leave. It must not know which insects are of use.
package gbif
