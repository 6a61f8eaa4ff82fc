package app

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
)

// Serve works the jobs and shows the pages at an address until ctx ends.
func (s *Server) Serve(ctx context.Context, addr string) error {
	ln, err := (&net.ListenConfig{}).Listen(ctx, "tcp", addr)
	if err != nil {
		return fmt.Errorf("%w; set serve.addr in the config to another address", err)
	}
	handler, err := s.Pages(ctx)
	if err != nil {
		return errors.Join(err, ln.Close())
	}
	programs, err := s.API()
	if err != nil {
		return errors.Join(err, ln.Close())
	}
	mux := http.NewServeMux()
	mux.Handle("/api/", programs)
	mux.Handle("GET /health", s.watch)
	mux.Handle("GET /metrics", s.metrics.Handler())
	mux.Handle("/", handler)
	server := NewHTTPServer(mux)
	collectSooner()
	beside, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()
	s.data.draw = handler.DrawAhead
	s.watch.Cautions = s.data.cautions
	running.Go(func() { s.data.run(beside) })
	s.waitForLook(ctx, firstLook) // nobody is told that there is no outlook while it is only not read yet
	failed := make(chan error, 1)
	go func() {
		if err := server.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
			failed <- fmt.Errorf("serving the page: %w", err)
		}
	}()
	s.log.Info().Str("page", "http://"+ln.Addr().String()).Str("database", s.db.Name()).Int("rivers", len(s.cfg.Rivers)).Msg("serving")
	s.waitForLook(ctx, lookAlone)
	if ctx.Err() != nil { // stopped before any job began
		return server.Close()
	}
	if err := s.start(ctx); err != nil {
		return errors.Join(err, server.Close())
	}
	running.Go(func() { s.probe.run(beside, s.relay, time.Duration(probeEvery*float64(s.watch.Interval))) })
	running.Go(func() { s.watch.Run(beside) })
	running.Go(func() { s.keepSite(beside) })
	select {
	case <-ctx.Done():
		s.log.Info().Msg("stopping: finishing running jobs")
	case err = <-failed:
	}
	leave, cut := context.WithTimeout(context.WithoutCancel(ctx), pageStopFor)
	defer cut()
	if server.Shutdown(leave) != nil {
		err = errors.Join(err, server.Close())
	}
	return errors.Join(err, s.halt(ctx))
}

// waitForLook waits for the first look at all rivers, but no longer than asked for.
func (s *Server) waitForLook(ctx context.Context, most time.Duration) {
	select {
	case <-s.data.looked:
	case <-ctx.Done():
	case <-time.After(most):
	}
}

// firstLook is how long readers wait at a start for what is known of the rivers.
// What takes longer to read is shown as it comes. lookAlone is how long the jobs wait
// then: they would take the processors from the first look, and a fetch that was due
// while nothing ran can wait as long again. Our own defaults.
const (
	firstLook = 5 * time.Second
	lookAlone = time.Minute
)

// pageStopFor is how long a reader may take to get the rest of a page at a stop.
const pageStopFor = 5 * time.Second

// Work works the jobs without a page until ctx ends.
func (s *Server) Work(ctx context.Context) error {
	collectSooner()
	if err := s.start(ctx); err != nil {
		return err
	}
	s.log.Info().Str("database", s.db.Name()).Str("queues", s.queueNames()).Str("id", s.queue.ID()).Msg("working")
	<-ctx.Done()
	s.log.Info().Msg("stopping: finishing what is under way")
	return s.halt(ctx)
}

// start begins to work the jobs and, where its queue is among ours, to fetch.
func (s *Server) start(ctx context.Context) error {
	if err := s.queue.Start(ctx); err != nil {
		return err
	}
	var fetching context.Context
	fetching, s.stopFetches = context.WithCancel(context.WithoutCancel(ctx))
	s.fetching = make(chan struct{})
	go func() {
		defer close(s.fetching)
		if n := s.workers[jobs.Feeds]; n > 0 {
			s.fetchLoop(fetching, n)
		}
	}()
	return nil
}

// stopFor is how long jobs under way may take to end at a stop, first fetches and
// then the others. What is cut off is taken up by the next start, so little is
// lost; and who stops the program to start it again waits for the database.
const stopFor = 4 * time.Second

// halt stops the work gracefully, also after ctx has ended.
func (s *Server) halt(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopFor+10*time.Second)
	defer cancel()
	if s.stopFetches != nil {
		s.stopFetches()
		<-s.fetching
	}
	return s.queue.Stop(ctx)
}
