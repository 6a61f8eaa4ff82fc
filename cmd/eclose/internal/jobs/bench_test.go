package jobs_test

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db/dbtest"
)

// BenchmarkOverhead is what a job costs beside its work: added in bulk, taken,
// called, marked as done. The baseline beside it is the call alone.
func BenchmarkOverhead(b *testing.B) {
	for _, c := range []struct {
		name string
		url  func(testing.TB) string
	}{{"sqlite", dbtest.SQLiteURL}, {"postgres", dbtest.PostgresURL}} {
		b.Run(c.name, func(b *testing.B) {
			d := dbtest.Open(b, c.url(b))
			var calls atomic.Int64
			o := options(jobs.Handlers{Outlook: func(context.Context, jobs.Outlook) error { calls.Add(1); return nil }})
			o.Workers = map[string]int{jobs.Model: 500}
			q := open(b, d, o)
			run(b, q)
			var all []jobs.Args
			for i := range b.N {
				all = append(all, jobs.Outlook{River: fmt.Sprintf("river-%07d", i), Issue: issue})
			}
			b.ResetTimer()
			if n, err := q.Add(b.Context(), all...); err != nil || n != b.N {
				b.Fatal(n, err)
			}
			for calls.Load() < int64(b.N) {
				time.Sleep(time.Millisecond)
			}
		})
	}
	b.Run("call alone", func(b *testing.B) {
		f := func(context.Context, jobs.Outlook) error { return nil }
		for range b.N {
			_ = f(b.Context(), jobs.Outlook{River: "river", Issue: issue})
		}
	})
}
