// Package sun works out when the sun rises and sets, when civil twilight begins
// and ends, and how long the day is.
//
// A date and a place enter; instants and a day length leave, with the polar
// cases named.
// It must not read a clock or know a time zone: the date is the place's own and
// the instants are UTC.
package sun
