package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
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
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

// Server is all that one process needs to do the work of a config.
type Server struct {
	cfg     *config.Config
	db      *db.DB
	files   *series.Files
	read    *series.Store
	work    *work.Service
	queue   *jobs.Queue
	people  *subscribe.Store
	watch   *health.Watcher
	metrics *health.Metrics
	relay   *mail.Sender
	probe   relayProbe
	compose *mail.Composer // nil: no relay
	data    *refresher     // what the pages show
	log     zerolog.Logger
	workers map[string]int // at once, by queue

	fetching    chan struct{} // closed when the fetch loop has ended
	stopFetches context.CancelFunc
}

// Options are what a Server takes from its command.
type Options struct {
	Workers map[string]int // jobs at once by queue; none: it works no jobs
	Log     zerolog.Logger
	Now     func() time.Time
	Sleep   func(context.Context, time.Duration) error // between tries of a feed; nil: a real pause
	Skipped func(ingest.Skipped)                       // called with what feeds left out, by Ingest only; may be nil
}

// Workers is how many jobs of a queue one process works at a time. A model
// job keeps a processor busy; the others wait for somebody else most of the time.
func Workers() map[string]int {
	n := runtime.GOMAXPROCS(0)
	return map[string]int{jobs.Feeds: 8, jobs.Model: n, jobs.Mail: 2, jobs.Webhooks: 4, jobs.Backtest: max(1, n-1)}
}

func (s *Server) queueNames() string {
	return strings.Join(slices.Sorted(maps.Keys(s.workers)), ", ")
}

// NewServer opens everything and starts nothing.
func NewServer(ctx context.Context, cfg *config.Config, o Options) (s *Server, err error) {
	s = &Server{cfg: cfg, log: o.Log, workers: o.Workers}
	for _, w := range cfg.Warnings {
		o.Log.Warn().Msg(w)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
			s = nil
		}
	}()
	if s.db, err = db.OpenToServe(ctx, cfg.DatabaseURL()); err != nil {
		return s, err
	}
	if s.files, err = series.OpenFiles(ctx, cfg.StoreURL()); err != nil {
		return s, err
	}
	if err = makeStore(ctx, cfg.StoreURL()); err != nil {
		return s, err
	}
	if s.read, err = series.Open(ctx, cfg.StoreURL(), series.ReadOnly()); err != nil {
		return s, err
	}
	clock, err := jobs.NewClock(ctx, s.db, o.Now) // all workers share it
	if err != nil {
		return s, err
	}
	now := clock.Now
	if s.work, err = s.build(ctx, o, now); err != nil {
		return s, err
	}
	opt := jobs.Options{
		Clock: clock, Log: o.Log, Handlers: s.work.Handlers(), Periodic: s.work.Periodic(), Done: s.done, StopAfter: stopFor,
	}
	if len(o.Workers) > 0 {
		// The feeds are worked by whoever holds their lock: see fetchLoop.
		opt.Workers = maps.Clone(o.Workers)
		delete(opt.Workers, jobs.Feeds)
		if len(opt.Workers) == 0 { // a worker of feeds alone still keeps the time
			opt.Workers[jobs.Mail] = 1
		}
	}
	if s.queue, err = jobs.Open(ctx, s.db, opt); err != nil {
		return s, err
	}
	s.work.Queue = s.queue
	s.watch = &health.Watcher{DB: s.db, Queue: s.queue, Archive: s.work.Archive, Now: now, Started: now(), Period: period(s.work.ForecastSchedule, now()), Mails: s.work.Alerts.Counts}
	for _, r := range s.work.Rivers {
		s.watch.Rivers = append(s.watch.Rivers, r.Slug)
	}
	s.metrics = health.NewMetrics(s.watch)
	s.work.Forgot, s.people.Refused = s.metrics.Forgot, s.signUpRefused
	s.data = newRefresher(s.work.Rivers, s.db, s.work.Archive, s.read, s.work.Read, now, o.Log)
	s.watchOver()
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

func (s *Server) build(ctx context.Context, o Options, now func() time.Time) (*work.Service, error) {
	cfg := s.cfg
	catalogue, err := LoadCatalogue(cfg)
	if err != nil {
		return nil, Usage(err)
	}
	rivers, err := Rivers(cfg, nil)
	if err != nil {
		return nil, Usage(err)
	}
	asked := o
	asked.Now = now
	c, err := FeedClient(cfg, asked)
	if err != nil {
		return nil, err
	}
	leftOut := &schedule.LeftOut{}
	builder := sources.Builder{Config: cfg, Client: c, Now: now, Skipped: func(x ingest.Skipped) {
		s.log.Debug().Msg(fmt.Sprint(x))
		leftOut.Add(x)
	}}
	places, err := builder.Tasks()
	if err != nil {
		return nil, Usage(err)
	}
	warned, err := builder.Warnings()
	if err != nil {
		return nil, Usage(err)
	}
	if s.people, err = subscribe.New(ctx, s.db, Names(rivers, catalogue), now); err != nil {
		return nil, err
	}
	h := &work.Service{
		DB: s.db, Rivers: rivers, Catalogue: catalogue, Read: &work.Reader{Store: s.read, Now: now}, Files: s.files,
		Archive: archive.New(s.db, s.files), People: s.people, Units: Units(cfg), PublicURL: cfg.Serve.PublicURL, Notice: cfg.Notice, Log: s.log,
		Tasks: builder.Tasks, LeftOut: leftOut, Backfill: time.Duration(cfg.Backfill) * 8766 * time.Hour, Overlap: overlap, Feeds: map[string]cron.Schedule{}, Jitter: map[string]time.Duration{},
		Stages: sources.FloodStages(cfg, c), Warned: warned, Warnings: map[string]cron.Schedule{},
	}
	if h.Hooks, err = webhooks(cfg, s.db, now); err != nil {
		return nil, Usage(err)
	}
	h.Alerts = alert.New(s.db, now, work.MailFacts(h.Archive, func(group string, stage forecast.Stage) []string { return TyingLine(catalogue, group, stage) }))
	if err := s.recordFeeds(h, c, catalogue, now); err != nil {
		return nil, err
	}
	for _, w := range warned {
		name := w.Source.Name()
		if h.Warnings[name], err = jobs.ParseSchedule(cfg.WarningsScheduleOf(name)); err != nil {
			return nil, Usagef("feeds.%s: %w", name, err)
		}
	}
	for _, p := range places {
		for _, t := range p.Tasks {
			name := t.Source.Name()
			if h.Feeds[name] != nil {
				continue
			}
			if h.Feeds[name], err = jobs.ParseSchedule(cfg.ScheduleOf(name)); err != nil {
				return nil, Usagef("feeds.%s: %w", name, err)
			}
			h.Jitter[name] = time.Duration(cfg.Feeds[name].Jitter)
		}
	}
	if h.ForecastSchedule, err = jobs.ParseSchedule(cfg.ForecastSchedule); err != nil {
		return nil, Usagef("outlooks: %w", err)
	}
	if cfg.Mail.Host != "" {
		composer, err := NewComposer(cfg, s.people.Links)
		if err != nil {
			return nil, err
		}
		s.compose = composer
		if s.relay, err = NewSender(cfg); err != nil {
			return nil, err
		}
		h.Transport = mail.Transport{Composer: composer, Sender: s.relay}
		h.Ask = func(ctx context.Context, id string) error { return s.invite(ctx, composer, id) }
	}
	return h, nil
}

// done logs what failed and counts everything.
func (s *Server) done(d jobs.Attempt) {
	s.metrics.Done(d)
	s.data.done(d)
	if d.Err != nil && !errors.As(d.Err, new(jobs.RetryLater)) {
		s.log.Warn().Str("job", d.Kind).Dur("took", d.Took).Msg(d.Err.Error())
		return
	}
	s.log.Debug().Str("job", d.Kind).Dur("took", d.Took).Dur("waited", d.Waited).Msg("done")
}

// Close lets everything go that NewServer opened.
func (s *Server) Close() (err error) {
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
