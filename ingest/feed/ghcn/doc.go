// Package ghcn reads daily weather of NOAA's Global Historical Climatology
// Network: the access data service's CSV and JSON, files by station and .dly.
//
// A station and dates enter through ingest.Request, or one saved response
// through Parser; daily series in SI units leave, with the agency's
// measurement and quality flags as qualifiers. It must not drop what the
// agency doubts: that is for the quality control.
package ghcn
