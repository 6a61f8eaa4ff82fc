// Package ingest holds the words that every part of the intake shares: gauge,
// variable, unit, reading, flag, series and the Source interface that each
// public feed implements.
//
// Answers of public feeds enter, in whatever unit, zone and order the agency
// chose; what leaves is a Series in SI units and UTC with source, qualifier,
// approval and flag beside each value. It must not know insects, rivers as
// anglers see them, forecasts or subscribers.
package ingest
