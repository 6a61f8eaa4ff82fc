//go:build unix

package rivers

import (
	"runtime/debug"
	"syscall"
	"testing"
	"time"
)

// BenchmarkTenRiversTwentySeasons is a backtest of the size that one would run
// over a region: ten rivers, twenty seasons, weekly issues, five leads, all
// groups of the region, two workers.
func BenchmarkTenRiversTwentySeasons(b *testing.B) {
	p, src := inventedPlan(b, 10, 2004, 2023)
	defer debug.SetGCPercent(debug.SetGCPercent(GCPercent)) // as the command does
	for b.Loop() {
		began := processor(b)
		out, err := Run(b.Context(), p, src)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(processor(b)-began, "cpu-s")
		groups, issues := map[string]bool{}, 0
		for _, s := range out.Shards {
			issues += s.Issues
			for _, c := range s.Cells {
				groups[c.Group] = true
			}
		}
		b.ReportMetric(float64(len(groups)), "groups")
		b.ReportMetric(float64(issues), "outlooks")
	}
}

// processor is the processor time used so far, s: on a machine that others use
// too, the figure to compare.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func BenchmarkOneSlice(b *testing.B) {
	p, src := inventedPlan(b, 1, 2023, 2023)
	src.first = 2004
	p.Workers = 1
	for b.Loop() {
		if _, err := Run(b.Context(), p, src); err != nil {
			b.Fatal(err)
		}
	}
}
