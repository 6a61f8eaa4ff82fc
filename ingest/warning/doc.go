// Package warning holds the official warnings of weather and flood services in
// the vocabulary of the Common Alerting Protocol 1.2 (OASIS, 2010).
//
// The messages of a feed, a place and a moment enter; the warnings in force
// there leave, and the record of what a feed last said of a river, which
// survives a restart. It must not know any feed's format, nor what a warning
// means for somebody in the water.
package warning
