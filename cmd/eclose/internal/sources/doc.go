// Package sources turns the rivers of a config into tasks for the intake: which
// feed is asked, where, for what.
//
// A checked Config, the polite client and a clock enter; places with their
// tasks leave. It must not fetch anything itself.
package sources
