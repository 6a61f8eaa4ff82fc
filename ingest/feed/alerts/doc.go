// Package alerts reads the public feeds of official warnings: the US National
// Weather Service, the Environment Agency of England, Environment and Climate
// Change Canada, and MeteoAlarm for the weather services of Europe.
//
// A feed's response enters, fetched or saved; warnings in the vocabulary of CAP
// leave, or one *ingest.Error and none: what cannot be read is never "none". It
// must not know what a warning means for somebody in the water.
package alerts
