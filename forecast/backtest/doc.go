// Package backtest judges the timing of insects by hindcasts: for every season
// of a trap or sighting record, the forecasts of some days before, by the model and
// by the calendar, with nothing of that season in the fit.
//
// Records and water temperatures enter as plain tables; per taxon the errors,
// scores and coverage leave, and the forecasts behind them. It must not know
// where a table came from, read a clock, or use a reading later than the day of
// issue that it states.
package backtest
