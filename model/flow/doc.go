// Package flow forecasts daily river flow as an ensemble: recession, snowmelt and
// rises after the record of the gauge itself, one member per possible weather.
//
// Daily columns of flow, air temperature and rain enter, NaN for unknown; members of
// daily flow in m3/s leave, and what a flow means to somebody who fishes. The
// package must not know gauges, feeds, files, the clock or insects.
//
// # The model
//
// With q the daily mean flow, y = log(q + e) and c its climatology by day of the year,
// the anomaly x = y - c moves by
//
//	x' = x + b . f(x, recent x, season, air, snow, rain) + s z
//
// b are the factors of the features in features.go: recession as fast as the river is
// above its mean of the past days and weeks, season by season, what warm and cold air
// does, degree-day melt from a snowpack that the air of the winter has left, and rain
// where it is known. They are fitted by weighted least squares under a normal prior
// pooled over many gauges. s is the size of a day's error, which depends on season and
// state: small in a steady recession, large after a rise. z is no normal deviate but
// what the fit left on a day of the past, in the order in which the days came: few
// large rises, many small falls. A member whose weather is that of a past season takes
// the errors of that season, so that its storms, warmth and flow belong together.
//
// The spread of the members by lead is corrected by what years left out of the fit
// showed (see calibrate.go).
package flow
