// Package csvfile reads plain CSV files, whose columns, units, time layout and
// zone the user declares.
//
// A file and its declaration enter; series in SI units and UTC leave, and a
// report of every local hour that a change of the clock makes doubtful. It must
// not guess a unit, a zone, a century or the order of day and month.
package csvfile
