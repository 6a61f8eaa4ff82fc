package db

import "time"

// Micros is how a time is kept: microseconds since 1970 UTC, 0 for the zero
// time.
func Micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

// Time is the inverse of Micros, in UTC.
func Time(us int64) time.Time {
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}

// YesNo is how a truth value is kept.
func YesNo(b bool) int64 {
	if b {
		return 1
	}
	return 0
}
