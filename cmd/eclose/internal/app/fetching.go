package app

import (
	"context"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/series"
)

// fetchTry is how often a process that does not ask the agencies tries to become
// the one that does.
const fetchTry = 5 * time.Second

// fetchLoop asks the agencies for as long as this process holds the lock of the feeds
// and that of the series store, and tries to get them where it does not. One
// process asks, however many work: their limits are for all of us together.
func (s *Server) fetchLoop(ctx context.Context, workers int) {
	last := ""
	for ctx.Err() == nil {
		err := s.fetchWhileLeader(ctx, workers)
		if err != nil && err.Error() != last && ctx.Err() == nil {
			last = err.Error()
			s.log.Info().Msg("not fetching: " + last)
		}
		select {
		case <-ctx.Done():
		case <-time.After(fetchTry):
		}
	}
}

func (s *Server) fetchWhileLeader(ctx context.Context, workers int) error {
	lock, err := jobs.Hold(ctx, s.db, jobs.FeedsLock)
	if err != nil {
		return err
	}
	defer lock.Release()
	store, err := series.Open(ctx, s.cfg.StoreURL())
	if err != nil {
		return err
	}
	defer store.Close() //nolint:errcheck // every write is already on the disk
	s.work.Write(store)
	defer s.work.Write(nil)
	if err := s.queue.Work(jobs.Feeds, workers); err != nil {
		return err
	}
	s.log.Info().Msg("asking the feeds")
	select {
	case <-ctx.Done():
	case <-lock.Lost():
		s.log.Warn().Msg("lost the feed lock: another process may fetch now")
	}
	leave, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopFor)
	defer cancel()
	return s.queue.Leave(leave, jobs.Feeds)
}
