package work

import (
	"context"
	"fmt"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/feed/inaturalist"
)

// FetchRecords fetches the open records around a river and has its forecast
// issued anew where one was new.
func (h *Service) FetchRecords(ctx context.Context, k jobs.FetchRecords) error {
	place, ok := h.RecordPlace[k.River]
	if h.Records == nil || !ok {
		return jobs.Final{Err: fmt.Errorf("no open records are fetched for %q", k.River)}
	}
	f := *h.Records // the judge remembers names and dates, and is not for two at once
	judge := *h.Records.Judge
	judge.Now = h.Queue.Now()
	f.Judge = &judge
	fetch := f.Occurrences
	if k.Feed == inaturalist.FeedName {
		fetch = f.INaturalist
	}
	t, err := fetch(ctx, place)
	if t.Added+t.Changed > 0 {
		h.mu.Lock()
		h.openAt = time.Time{} // the next outlook knows them
		h.mu.Unlock()
	}
	h.Log.Info().Str("river", k.River).Str("feed", k.Feed).Int("read", t.Read).Int("new", t.Added).Msg("open records")
	return err
}
