// Package app wires a config to the packages that do its work, and runs them as
// one server: jobs, fetches, mail and pages from start to stop.
//
// A config and a clock enter; rivers, forecasts, page data and a running Server
// leave, for the commands to print or to wait on. It must not know a command
// line, and it holds no science and no wording of its own.
package app
