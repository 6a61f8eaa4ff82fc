// Package degreeday turns temperature into degree-days by the methods in common
// use, and finds the day on which a sum begins.
//
// Daily minima and maxima, daily means or readings within the day enter, with
// thresholds of either temperature scale; degree-days per day, running sums and
// starting days leave.
// It must not know any insect: thresholds and rules are handed in.
package degreeday
