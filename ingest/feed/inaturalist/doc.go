// Package inaturalist reads observations and their daily numbers from version 1
// of the iNaturalist API.
//
// A place, taxa and a time enter, or a saved response; records of occurrences
// leave, and numbers by day, which measure how much people looked. It must not
// know which insects are of use.
package inaturalist
