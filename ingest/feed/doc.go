// Package feed lists the public feeds that can be read, by name, and sums up
// what a saved answer holds.
//
// A feed's name and a saved answer enter; a Parser, and one line of figures
// for each series, leave. It must not know any feed's format: each has a
// package of its own below this one.
package feed
