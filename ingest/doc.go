// Package ingest holds the types that every part of the intake shares: gauge,
// variable, unit, reading, flag, series and the Source interface that each
// public feed implements.
//
// Responses of public feeds enter, in the unit, zone and order that the agency
// chose; a Series in SI units and UTC leaves, with source, qualifier, approval and
// flag beside each value. It must not know insects, rivers as
// anglers see them, forecasts or subscribers.
package ingest
