// Package diary keeps what people saw on the water, and what they did not see.
//
// Sightings enter, one by one or as CSV, each checked and with the hours watched,
// since an hour that showed nothing is evidence too; the current sightings leave, or
// those known at some earlier time, so that a backtest sees no later correction. It
// must not know how a sighting changes the forecast: that is calibration.
package diary
