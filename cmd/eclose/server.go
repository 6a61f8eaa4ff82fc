package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"time"

	"github.com/robfig/cron/v3"
	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/health"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

// server is all that one process needs to do the work of a config.
type server struct {
	cfg       *config.Config
	db        *db.DB
	files     *series.Files
	read      *series.Store
	service   *work.Service
	queue     *jobs.Queue
	people    *subscribe.Store
	watch     *health.Watch
	metrics   *health.Metrics
	relay     *mail.Sender
	refresher *refresher
	log       zerolog.Logger

	feeding chan struct{} // closed when the feeding loop has ended
	stop    context.CancelFunc
}

// workersOf is how many jobs of a queue one process works at a time. A model
// job keeps a processor busy; the others wait for somebody else most of the time.
func workersOf() map[string]int {
	n := runtime.GOMAXPROCS(0)
	return map[string]int{jobs.Feeds: 8, jobs.Model: n, jobs.Mail: 2, jobs.Backtest: max(1, n-1)}
}

// newServer opens everything and starts nothing.
func newServer(e *env, cfg *config.Config, workers map[string]int, logger zerolog.Logger) (s *server, err error) {
	s = &server{cfg: cfg, log: logger}
	for _, w := range cfg.Warnings {
		logger.Warn().Msg(w)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.close())
			s = nil
		}
	}()
	if s.db, err = db.OpenMigrated(e.ctx, cfg.DatabaseURL()); err != nil {
		return s, err
	}
	if s.files, err = series.OpenFiles(e.ctx, cfg.StoreURL()); err != nil {
		return s, err
	}
	if err = makeStore(e.ctx, cfg.StoreURL()); err != nil {
		return s, err
	}
	if s.read, err = series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly()); err != nil {
		return s, err
	}
	clock, err := jobs.NewClock(e.ctx, s.db, e.now) // all workers share it
	if err != nil {
		return s, err
	}
	now := clock.Now
	if s.service, err = s.build(e, now); err != nil {
		return s, err
	}
	opt := jobs.Options{
		Clock: clock, Log: logger, Handlers: s.service.Handlers(), Periodic: s.service.Periodic(), Done: s.done,
	}
	if len(workers) > 0 {
		// The feeds are worked by whoever holds their lock: see feed.
		opt.Workers = maps.Clone(workers)
		delete(opt.Workers, jobs.Feeds)
		if len(opt.Workers) == 0 { // a worker of feeds alone still keeps the time
			opt.Workers[jobs.Mail] = 1
		}
	}
	if s.queue, err = jobs.Open(e.ctx, s.db, opt); err != nil {
		return s, err
	}
	s.service.Queue = s.queue
	s.watch = &health.Watch{DB: s.db, Queue: s.queue, Archive: s.service.Archive, Now: now, Started: now(), Period: period(s.service.ForecastSchedule, now()), Mails: s.service.Alerts.Counts}
	for _, r := range s.service.Rivers {
		s.watch.Rivers = append(s.watch.Rivers, r.Slug)
	}
	s.metrics = health.NewMetrics(s.watch)
	s.refresher = newRefresher(s.service.Rivers, s.db, s.service.Archive, s.read, s.service.Read, now, logger)
	s.watch.Judged = s.refresher.judgedAt
	return s, nil
}

// makeStore makes an empty store where there is none, so that it can be read.
func makeStore(ctx context.Context, url string) error {
	s, err := series.Open(ctx, url)
	if errors.Is(err, series.ErrInUse) {
		return nil
	}
	if err != nil {
		return err
	}
	return s.Close()
}

// period is the time between two activations of a schedule.
func period(s cron.Schedule, now time.Time) time.Duration {
	a := s.Next(now)
	return s.Next(a).Sub(a)
}

func (s *server) build(e *env, now func() time.Time) (*work.Service, error) {
	cfg := s.cfg
	catalogue, err := loadCatalogue(cfg)
	if err != nil {
		return nil, usageError{err}
	}
	rivers, err := riversOf(cfg, nil)
	if err != nil {
		return nil, usageError{err}
	}
	c, err := feedClient(e, cfg, now)
	if err != nil {
		return nil, err
	}
	builder := sources.Builder{Config: cfg, Client: c, Now: now, Skipped: func(x ingest.Skipped) { s.log.Debug().Msg(fmt.Sprint(x)) }}
	places, err := builder.Tasks()
	if err != nil {
		return nil, usageError{err}
	}
	warned, err := builder.Warnings()
	if err != nil {
		return nil, usageError{err}
	}
	if s.people, err = subscribe.New(e.ctx, s.db, namesOf(rivers, catalogue), now); err != nil {
		return nil, err
	}
	h := &work.Service{
		DB: s.db, Rivers: rivers, Catalogue: catalogue, Read: &work.Reader{Store: s.read, Now: now}, Files: s.files,
		Archive: archive.New(s.db, s.files), Alerts: alert.New(s.db, now), Units: unitsOf(cfg), PublicURL: cfg.Serve.PublicURL, Notice: cfg.Notice, Log: s.log,
		Tie:   func(group string, stage forecast.Stage) []string { return tie(catalogue, group, stage) },
		Tasks: builder.Tasks, Backfill: time.Duration(cfg.Backfill) * 8766 * time.Hour, Overlap: overlap, Feeds: map[string]cron.Schedule{}, Jitter: map[string]time.Duration{},
		Stages: sources.FloodStages(cfg, c), Warned: warned, Warnings: map[string]cron.Schedule{},
	}
	for _, w := range warned {
		name := w.Source.Name()
		if h.Warnings[name], err = jobs.ParseSchedule(cfg.WarningsScheduleOf(name)); err != nil {
			return nil, usagef("feeds.%s: %w", name, err)
		}
	}
	for _, p := range places {
		for _, t := range p.Tasks {
			name := t.Source.Name()
			if h.Feeds[name] != nil {
				continue
			}
			if h.Feeds[name], err = jobs.ParseSchedule(cfg.ScheduleOf(name)); err != nil {
				return nil, usagef("feeds.%s: %w", name, err)
			}
			h.Jitter[name] = time.Duration(cfg.Feeds[name].Jitter)
		}
	}
	if h.ForecastSchedule, err = jobs.ParseSchedule(cfg.ForecastSchedule); err != nil {
		return nil, usagef("outlooks: %w", err)
	}
	if cfg.Mail.Host != "" {
		composer, err := composerOf(cfg, s.people.Links)
		if err != nil {
			return nil, err
		}
		if s.relay, err = senderOf(cfg); err != nil {
			return nil, err
		}
		h.Transport = mail.Transport{Composer: composer, Sender: s.relay}
		h.Ask = func(ctx context.Context, id string) error { return s.invite(ctx, composer, id) }
	}
	return h, nil
}

// done logs what failed and counts everything.
func (s *server) done(d jobs.Attempt) {
	s.metrics.Done(d)
	s.refresher.done(d)
	if d.Err != nil && !errors.As(d.Err, new(jobs.RetryLater)) {
		s.log.Warn().Str("job", d.Kind).Dur("took", d.Took).Msg(d.Err.Error())
		return
	}
	s.log.Debug().Str("job", d.Kind).Dur("took", d.Took).Dur("waited", d.Waited).Msg("done")
}

// start begins to work. feeds says whether this process may ask the agencies.
func (s *server) start(ctx context.Context, feeds int) error {
	if err := s.queue.Start(ctx); err != nil {
		return err
	}
	var feeding context.Context
	feeding, s.stop = context.WithCancel(context.WithoutCancel(ctx))
	s.feeding = make(chan struct{})
	go func() {
		defer close(s.feeding)
		if feeds > 0 {
			s.feed(feeding, feeds)
		}
	}()
	return nil
}

// feedTry is how often a process that does not ask the agencies tries to become
// the one that does.
const feedTry = 5 * time.Second

// feed asks the agencies for as long as this process holds the lock of the feeds
// and that of the series store, and tries to get them where it does not. One
// process asks, however many work: their limits are for all of us together.
func (s *server) feed(ctx context.Context, workers int) {
	reported := ""
	for ctx.Err() == nil {
		err := s.feedOnce(ctx, workers)
		if err != nil && err.Error() != reported && ctx.Err() == nil {
			reported = err.Error()
			s.log.Info().Msg("not fetching: " + reported)
		}
		select {
		case <-ctx.Done():
		case <-time.After(feedTry):
		}
	}
}

func (s *server) feedOnce(ctx context.Context, workers int) error {
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
	s.service.Write(store)
	defer s.service.Write(nil)
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

// stopFor is how long a stop may take before jobs are cut off; they are taken up
// by the next start.
const stopFor = 25 * time.Second

// halt stops the work gracefully.
func (s *server) halt() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopFor+10*time.Second)
	defer cancel()
	if s.stop != nil {
		s.stop()
		<-s.feeding
	}
	return s.queue.Stop(ctx)
}

func (s *server) close() (err error) {
	if s.relay != nil {
		s.relay.Close()
	}
	if s.read != nil {
		err = errors.Join(err, s.read.Close())
	}
	if s.files != nil {
		err = errors.Join(err, s.files.Close())
	}
	if s.db != nil {
		err = errors.Join(err, s.db.Close())
	}
	return err
}
