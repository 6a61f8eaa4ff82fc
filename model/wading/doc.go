// Package wading judges what a river's flow, height, temperature and weather mean
// for somebody who stands in it.
//
// A reading with its age, the measurements taken at the gauge, statistics and
// warnings enter; a level of caution from 0 to 3, or that it is not known, leaves
// with its reasons in words and numbers in both systems of units.
// It must not know where the numbers came from, and it never says that water is
// without danger: what is missing or stale raises the caution.
package wading
