// Package verify scores forecasts that have come due: probabilities against
// yes or no, dates and distributions of dates against the date that came.
//
// Plain slices of forecasts and outcomes enter; scores, decompositions, tables
// for diagrams and bootstrap intervals leave. It must not know what an insect
// or a river is, read a store, or draw anything.
//
// # Conventions
//
// Every score is oriented so that smaller is better unless its comment says
// otherwise. Outcomes are bool for events and float64 for dates (day of year,
// or days from the issue date: only differences matter). Slices that belong
// together must have equal lengths: unequal ones are a mistake of the caller
// and panic. A mean over nothing is NaN, never zero. Randomness comes only
// from the seed that is passed in, so the same call gives the same bytes.
package verify
