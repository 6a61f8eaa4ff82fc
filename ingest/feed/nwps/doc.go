// Package nwps reads the National Water Prediction Service of the United
// States: the stages and flows from which it counts floods at a gauge, and its
// forecasts of flow.
//
// The number of a gauge or of a reach enters, or a saved response; flood
// categories in m and m3/s and series of forecast flow leave. It must not know
// who judges a river by them.
package nwps
