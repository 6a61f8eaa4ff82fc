package app

import (
	"os"
	"runtime/debug"
)

// gcPercent is how far the heap of a server may grow over what lives before it is
// collected. Most of what lives are the forecasts on show, which stay for hours: at Go's
// own 100 as much again would be garbage. Our own default; GOGC overrules it, and a
// machine's limit is set by GOMEMLIMIT.
const gcPercent = 30

// collectSooner keeps a server's memory close to what it holds.
func collectSooner() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
}
