package jobs

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"example.org/eclose/ingest/db"
)

// Clock is one clock for all processes on one database. On SQLite there is but
// one process, and it is its own. On PostgreSQL it is the server's: the process
// keeps how far its own clock is off and asks again each minute. So a wrong
// clock moves no slot, ends no lease early and dates no mail.
type Clock struct {
	base   func() time.Time
	db     *db.DB // nil: nothing to be compared with
	offset atomic.Int64

	once sync.Once
	done chan struct{}
}

// NewClock returns the clock of a database; base is this machine's, nil for the
// system's.
func NewClock(ctx context.Context, d *db.DB, base func() time.Time) (*Clock, error) {
	c := &Clock{base: base, done: make(chan struct{})}
	if base == nil {
		c.base = time.Now
	}
	if d.Dialect == db.Postgres {
		c.db = d
		if err := c.compare(ctx); err != nil {
			return nil, fmt.Errorf("asking the database for the time: %w", err)
		}
	}
	return c, nil
}

// Now implements River's TimeGenerator.
func (c *Clock) Now() time.Time { return c.base().Add(time.Duration(c.offset.Load())) }

// NowOrNil implements River's TimeGenerator: statements use the server's time.
func (c *Clock) NowOrNil() *time.Time { return nil }

// Off is how far this machine's clock is off.
func (c *Clock) off() time.Duration { return -time.Duration(c.offset.Load()) }

// compare takes the middle of the question's time for the moment of the answer.
func (c *Clock) compare(ctx context.Context) error {
	before := c.base()
	var us int64
	if err := c.db.SQL.QueryRowContext(ctx, "SELECT (EXTRACT(EPOCH FROM clock_timestamp()) * 1000000)::bigint").Scan(&us); err != nil {
		return err
	}
	took := c.base().Sub(before)
	c.offset.Store(int64(time.UnixMicro(us).Sub(before.Add(took / 2))))
	return nil
}

func (c *Clock) start(ctx context.Context) {
	if c.db == nil {
		return
	}
	ctx = context.WithoutCancel(ctx)
	go func() {
		t := time.NewTicker(time.Minute)
		defer t.Stop()
		for {
			select {
			case <-c.done:
				return
			case <-t.C:
				ask, cancel := context.WithTimeout(ctx, 10*time.Second)
				_ = c.compare(ask) // the server is away: the last comparison stands
				cancel()
			}
		}
	}()
}

func (c *Clock) stop() { c.once.Do(func() { close(c.done) }) }

// ClockOff is how far this machine's clock is ahead of the database's; zero on
// SQLite.
func (q *Queue) ClockOff() time.Duration { return q.clock.off() }
