// Package civil holds the calendar date of a place, without a time or a zone.
//
// A time in some zone or a text enters; a number of days leaves, to be compared,
// counted and printed. It must not know which zone a river lies in, nor the clock.
package civil
