//go:build unix

package forecast

import (
	"context"
	"math"
	"syscall"
	"testing"
	"time"
)

// processor is the processor time used so far, s: on a machine that others use
// too, the figure to compare.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// BenchmarkIssueFromAWarmStore is one river's outlook with everything, from a
// store of ten years of hourly readings and a weather forecast of 31 members,
// in a process that issued one before, as a service has.
func BenchmarkIssueFromAWarmStore(b *testing.B) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	store := inventStore(b, issue, issue.Add(-time.Hour), 10, 31, 1)
	c := catalogue(b)
	ctx := context.Background()
	var stages int
	opt, is := Options{Fits: new(Fits)}, new(Issuer)
	one := func() {
		rec, err := Gather(ctx, store, beck, issue)
		if err != nil {
			b.Fatal(err)
		}
		o, err := is.Outlook(rec, beck, c, opt)
		if err != nil {
			b.Fatal(err)
		}
		stages = len(o.Stages)
	}
	one()
	began := processor(b)
	for b.Loop() {
		one()
	}
	b.ReportMetric(float64(stages), "stages")
	b.ReportMetric(1e3*(processor(b)-began)/float64(b.N), "cpu-ms")
}

// BenchmarkIssueWithoutAThermometer is the same for a river whose water nobody read.
func BenchmarkIssueWithoutAThermometer(b *testing.B) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	store := inventStore(b, issue, issue.Add(-time.Hour), 10, 31, 1)
	c := catalogue(b)
	opt, is := Options{Fits: new(Fits)}, new(Issuer)
	one := func() {
		rec, err := Gather(context.Background(), store, beck, issue)
		if err != nil {
			b.Fatal(err)
		}
		for i := range rec.Water {
			rec.Water[i], rec.WaterMin[i], rec.WaterMax[i] = math.NaN(), math.NaN(), math.NaN()
		}
		if _, err := is.Outlook(rec, beck, c, opt); err != nil {
			b.Fatal(err)
		}
	}
	one()
	began := processor(b)
	for b.Loop() {
		one()
	}
	b.ReportMetric(1e3*(processor(b)-began)/float64(b.N), "cpu-ms")
}

// BenchmarkIssueTheFirst is the same with the fit of the water model, as on the
// first day of a month.
func BenchmarkIssueTheFirst(b *testing.B) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	store := inventStore(b, issue, issue.Add(-time.Hour), 10, 31, 1)
	c := catalogue(b)
	began := processor(b)
	for b.Loop() {
		if _, err := Issue(context.Background(), store, beck, c, issue, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(1e3*(processor(b)-began)/float64(b.N), "cpu-ms")
}

// BenchmarkGather is the reading alone.
func BenchmarkGather(b *testing.B) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	store := inventStore(b, issue, issue.Add(-time.Hour), 10, 31, 1)
	began := processor(b)
	for b.Loop() {
		if _, err := Gather(context.Background(), store, beck, issue); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(1e3*(processor(b)-began)/float64(b.N), "cpu-ms")
}
