package jobs

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/rs/zerolog"

	"example.org/eclose/ingest/db"
)

// Args are the keys of a job: one of the kinds of this package.
type Args = river.JobArgs

// At wraps keys that must not be worked before a time.
type At struct {
	Args
	At time.Time
}

// Options of a queue that works.
type Options struct {
	Now      func() time.Time // nil: the system's
	Clock    *Clock           // nil: one made from Now
	Log      zerolog.Logger
	Handlers Handlers
	Periodic []Periodic
	Workers  map[string]int // by queue; what is not named is not worked
	Done     func(Attempt)  // called with each attempt; may be nil

	// Timeout overrides how long any job may take, and Rescue how long after its
	// beginning a job whose worker died is taken up again; 0: as each kind has it.
	// Tests shorten them.
	Timeout, Rescue time.Duration
	// Pace is the least time between two looks for work; 0: 100 ms. It bounds how
	// many jobs a second one process takes.
	Pace time.Duration
	// Poll is how often one process looks for work of which nobody told it: on
	// SQLite that is all work; 0: 1 s.
	Poll time.Duration
	// StopAfter is how long a stop waits for jobs under way; 0: 30 s.
	StopAfter time.Duration
}

// Queue is the queue on one database. A Queue without handlers can add and list.
type Queue struct {
	db     *db.DB
	river  client
	opt    Options
	clock  *Clock
	leader *leader
}

// client hides which driver stands behind River.
type client interface {
	insert(ctx context.Context, tx *db.Tx, many []river.InsertManyParams) (added int, err error)
	start(ctx context.Context) error
	stop(ctx context.Context) error
	list(ctx context.Context, p *river.JobListParams) (*river.JobListResult, error)
	get(ctx context.Context, id int64) (*Job, error)
	retry(ctx context.Context, id int64) (*Job, error)
	add(queue string, workers int, pace time.Duration) error
	remove(ctx context.Context, queue string) error
	id() string
}

// Open makes a queue on a migrated database.
func Open(ctx context.Context, d *db.DB, opt Options) (*Queue, error) {
	q := &Queue{db: d, opt: opt, clock: opt.Clock}
	var err error
	if q.clock == nil {
		if q.clock, err = NewClock(ctx, d, opt.Now); err != nil {
			return nil, err
		}
	}
	cfg := &river.Config{
		Logger: slog.New(quiet{zerolog.NewSlogHandler(opt.Log)}), JobTimeout: time.Minute, RescueStuckJobsAfter: 2 * time.Minute,
		SoftStopTimeout: orDefault(opt.StopAfter, 30*time.Second), FetchCooldown: orDefault(opt.Pace, 100*time.Millisecond), FetchPollInterval: orDefault(opt.Poll, time.Second),
		// Whatever went wrong for good stays for a human to look at.
		DiscardedJobRetentionPeriod: 30 * 24 * time.Hour, CancelledJobRetentionPeriod: 7 * 24 * time.Hour,
		// River counts it by the machine's clock; Eclose dates jobs by the clock it was given.
		CompletedJobRetentionPeriod: 48*time.Hour + max(0, time.Since(q.clock.Now())), Test: river.TestConfig{Time: q.clock},
	}
	if opt.Timeout > 0 {
		cfg.JobTimeout = opt.Timeout
	}
	if opt.Rescue > 0 {
		cfg.RescueStuckJobsAfter = opt.Rescue
	}
	if len(opt.Workers) > 0 {
		cfg.Workers = q.workers()
		cfg.Queues = map[string]river.QueueConfig{}
		for name, n := range opt.Workers {
			cfg.Queues[name] = river.QueueConfig{MaxWorkers: n}
		}
		if cfg.PeriodicJobs, err = q.periodic(); err != nil {
			return nil, err
		}
	}
	if d.Dialect == db.Postgres {
		c, err := river.NewClient(riverpgxv5.New(d.Pool), cfg)
		if err != nil {
			return nil, fmt.Errorf("opening the job queue: %w", err)
		}
		q.river = riverClient[pgx.Tx]{c, func(tx *db.Tx) pgx.Tx { return tx.Pgx }}
		return q, nil
	}
	c, err := river.NewClient(riversqlite.New(d.SQL), cfg)
	if err != nil {
		return nil, fmt.Errorf("opening the job queue: %w", err)
	}
	q.river = riverClient[*sql.Tx]{c, func(tx *db.Tx) *sql.Tx { return tx.SQL }}
	return q, nil
}

func orDefault[T comparable](v, other T) T {
	var zero T
	if v == zero {
		return other
	}
	return v
}

// Now is the clock that all processes on one database share.
func (q *Queue) Now() time.Time { return q.clock.Now() }

// Add makes jobs due, each once however often it is added, and returns how many
// were new.
func (q *Queue) Add(ctx context.Context, all ...Args) (added int, err error) {
	err = q.db.Tx(ctx, func(tx *db.Tx) error {
		added, err = q.AddTx(ctx, tx, all...)
		return err
	})
	return added, err
}

// chunk is how many jobs go into one statement.
const chunk = 5000

// AddTx is Add in a transaction: the jobs are due if, and only if, it commits.
func (q *Queue) AddTx(ctx context.Context, tx *db.Tx, all ...Args) (added int, err error) {
	var many []river.InsertManyParams
	seen := make(map[Args]bool, len(all)) // River takes no batch with the same keys twice
	for _, a := range all {
		p := river.InsertManyParams{Args: a}
		if l, ok := a.(At); ok {
			p.Args = l.Args
			if l.At.After(q.Now()) { // what is due waits for no scheduler
				p.InsertOpts = &river.InsertOpts{ScheduledAt: l.At}
			}
		}
		if !seen[p.Args] {
			seen[p.Args] = true
			many = append(many, p)
		}
	}
	for part := range slices.Chunk(many, chunk) {
		n, err := q.river.insert(ctx, tx, part)
		if err != nil {
			return added, fmt.Errorf("adding %d jobs: %w", len(part), err)
		}
		added += n
	}
	return added, nil
}

// Start begins to work. The context does not stop it: see Stop.
func (q *Queue) Start(ctx context.Context) error {
	if len(q.opt.Workers) == 0 {
		return errors.New("starting the job queue: no queue is named to be worked")
	}
	if q.db.Dialect == db.SQLite {
		// The file is ours alone, so what is marked as running was cut off.
		if _, err := q.db.SQL.ExecContext(ctx, "UPDATE river_job SET state = 'available' WHERE state = 'running'"); err != nil {
			return fmt.Errorf("taking up the jobs that were cut off: %w", err)
		}
	}
	q.clock.start(ctx)
	q.leader = newLeader(q.db, q.ID())
	q.leader.start(ctx)
	if err := q.river.start(context.WithoutCancel(ctx)); err != nil {
		q.leader.end()
		q.clock.stop()
		return fmt.Errorf("starting the job queue: %w", err)
	}
	return nil
}

// Stop takes no more jobs and waits for those under way, for as long as the
// options say; then it cancels them, to be taken up by the next start.
func (q *Queue) Stop(ctx context.Context) error {
	defer q.clock.stop()
	defer q.leader.end()
	if err := q.river.stop(ctx); err != nil {
		return fmt.Errorf("stopping the job queue: %w", err)
	}
	return nil
}

// Work begins to work one more queue.
func (q *Queue) Work(name string, workers int) error {
	if err := q.river.add(name, workers, q.opt.Pace); err != nil {
		return fmt.Errorf("beginning to work %s: %w", name, err)
	}
	return nil
}

// Leave stops working a queue; jobs under way are finished first.
func (q *Queue) Leave(ctx context.Context, name string) error {
	if err := q.river.remove(ctx, name); err != nil {
		return fmt.Errorf("leaving the queue %s: %w", name, err)
	}
	return nil
}

// ID names this process among all that work on the database.
func (q *Queue) ID() string { return q.river.id() }

type riverClient[T any] struct {
	c  *river.Client[T]
	tx func(*db.Tx) T
}

func (r riverClient[T]) insert(ctx context.Context, tx *db.Tx, many []river.InsertManyParams) (added int, err error) {
	res, err := r.c.InsertManyTx(ctx, r.tx(tx), many)
	for _, x := range res {
		if !x.UniqueSkippedAsDuplicate {
			added++
		}
	}
	return added, err
}

func (r riverClient[T]) start(ctx context.Context) error { return r.c.Start(ctx) }
func (r riverClient[T]) stop(ctx context.Context) error  { return r.c.Stop(ctx) }
func (r riverClient[T]) id() string                      { return r.c.ID() }

func (r riverClient[T]) add(name string, workers int, pace time.Duration) error {
	return r.c.Queues().Add(name, river.QueueConfig{MaxWorkers: workers, FetchCooldown: pace})
}

func (r riverClient[T]) remove(ctx context.Context, name string) error {
	return r.c.Queues().Remove(ctx, name)
}
