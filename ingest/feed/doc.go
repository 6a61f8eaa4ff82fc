// Package feed lists, by name, the public feeds that can be read and the
// agencies whose gauges can be searched, and sums up what a saved response holds.
//
// A feed's name and a saved response, or how an agency is reached, enter; a
// Parser, one line of figures for each series, or a finder of gauges leave. It
// must not know any feed's format: each has a package of its own below this
// one.
package feed
