// Package schedule fetches readings from the feeds, stores them and checks them: one
// pass at a time, now or at the times of a cron expression.
//
// Sources with their requests enter; readings in the store with a flag each,
// and an Outcome per request, leave. It must not know what the readings are
// for, and a feed that fails costs freshness, never stored data.
package schedule
