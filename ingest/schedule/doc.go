// Package schedule takes what the feeds offer into the series store and has it
// checked: one pass at a time, now or whenever a cron expression says.
//
// Sources with their requests enter; readings in the store with a flag each,
// and an Outcome per request, leave. It must not know what the readings are
// for, and a feed that fails costs freshness, never stored data.
package schedule
