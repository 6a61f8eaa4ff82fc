package forecast

import (
	"context"
	"testing"
	"time"
)

// BenchmarkIssueFromAWarmStore is one river's outlook with everything, from a
// store of ten years of hourly readings and a weather forecast of 31 members.
func BenchmarkIssueFromAWarmStore(b *testing.B) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	store := inventStore(b, issue, issue.Add(-time.Hour), 10, 31, 1)
	c := catalogue(b)
	ctx := context.Background()
	var stages int
	for b.Loop() {
		o, err := Issue(ctx, store, beck, c, issue, Options{})
		if err != nil {
			b.Fatal(err)
		}
		stages = len(o.Stages)
	}
	b.ReportMetric(float64(stages), "stages")
}

// BenchmarkGather is the reading alone.
func BenchmarkGather(b *testing.B) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	store := inventStore(b, issue, issue.Add(-time.Hour), 10, 31, 1)
	for b.Loop() {
		if _, err := Gather(context.Background(), store, beck, issue); err != nil {
			b.Fatal(err)
		}
	}
}
