package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/term"
)

type serveCmd struct {
	configFlag
	Addr string `help:"Listen address; overrides serve.addr." placeholder:"ADDR"`
	Log  string `default:"info" enum:"debug,info,warn,error" help:"Log level: ${enum}."`
}

// Run is the whole house in one process: it asks the feeds, issues outlooks,
// sends alerts and shows the page, until it is told to stop.
func (c serveCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	if c.Addr != "" {
		if cfg.Serve.PublicURL == "http://"+cfg.Serve.Addr { // nobody said otherwise
			cfg.Serve.PublicURL = "http://" + c.Addr
		}
		cfg.Serve.Addr = c.Addr
	}
	log := logger(e.stderr, c.Log)
	workers := workersOf()
	s, err := newServer(e, cfg, workers, log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.close()) }()
	ln, err := (&net.ListenConfig{}).Listen(e.ctx, "tcp", cfg.Serve.Addr)
	if err != nil {
		return fmt.Errorf("%w; set serve.addr in the config to another address", err)
	}
	handler, err := s.pages(e.ctx)
	if err != nil {
		return errors.Join(err, ln.Close())
	}
	mux := http.NewServeMux()
	mux.Handle("GET /health", s.watch)
	mux.Handle("GET /metrics", s.metrics.Handler())
	mux.Handle("/", handler)
	server := pageServer(mux)
	if err := s.start(e.ctx, workers["feeds"]); err != nil {
		return errors.Join(err, ln.Close())
	}
	beside, cancel := context.WithCancel(e.ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()
	s.refresher.draw = handler.DrawAhead
	running.Go(func() { s.refresher.run(beside) })
	select { // nobody is told that there is no outlook while it is only not read yet
	case <-s.refresher.first:
	case <-e.ctx.Done():
	case <-time.After(firstRefresh):
	}
	failed := make(chan error, 1)
	go func() {
		if err := server.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
			failed <- fmt.Errorf("serving the page: %w", err)
		}
	}()
	log.Info().Str("page", "http://"+ln.Addr().String()).Str("database", s.db.Name()).Int("rivers", len(cfg.Rivers)).Msg("serving")
	select {
	case <-e.ctx.Done():
		log.Info().Msg("stopping: finishing running jobs")
	case err = <-failed:
	}
	leave, cut := context.WithTimeout(context.WithoutCancel(e.ctx), pageStopFor)
	defer cut()
	if server.Shutdown(leave) != nil {
		err = errors.Join(err, server.Close())
	}
	return errors.Join(err, s.halt())
}

// firstRefresh is how long readers wait at a start for what is known of the rivers.
// What takes longer to read is shown as it comes.
const firstRefresh = 5 * time.Second

// pageStopFor is how long a reader may take to get the rest of a page at a stop.
const pageStopFor = 5 * time.Second

// logger writes for people on a terminal and as JSON elsewhere.
func logger(w io.Writer, level string) zerolog.Logger {
	l, err := zerolog.ParseLevel(level)
	if err != nil {
		l = zerolog.InfoLevel // kong admits no other word
	}
	if f, ok := w.(interface{ Fd() uintptr }); ok && term.IsTerminal(int(f.Fd())) {
		w = zerolog.ConsoleWriter{Out: w, TimeFormat: time.TimeOnly}
	}
	return zerolog.New(w).Level(l).With().Timestamp().Logger()
}
