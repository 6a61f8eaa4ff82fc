//go:build unix

package flow

import (
	"syscall"
	"testing"
)

// cpuSeconds is the processor time of this process so far: on a busy machine it says
// more than the clock.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}

func reportCPU(b *testing.B, since float64) {
	b.ReportMetric((cpuSeconds()-since)/float64(b.N)*1000, "cpu-ms/op")
}
