// Package health says whether the forecasts are fresh, and counts what happens.
//
// The state of the stores enters; a report that is unhealthy when forecasts are
// stale, not merely when the process is down, and metrics for Prometheus, leave.
// It must not mend anything, and it names no reader and no address.
package health
