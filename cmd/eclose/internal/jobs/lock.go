package jobs

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"example.org/eclose/ingest/db"
)

// ErrHeld is wrapped by the error of Hold where another process has the lock.
var ErrHeld = errors.New("another process has it")

// Holding is a lock that one process on the database has at a time. It ends when
// the process does, however it ends.
type Holding struct {
	lost    chan struct{}
	release func()
	once    sync.Once
}

// Lost is closed when the lock is lost: the server went away, or ended us.
func (h *Holding) Lost() <-chan struct{} { return h.lost }

// Release gives the lock up.
func (h *Holding) Release() { h.once.Do(h.release) }

// holdCheck is how often a lock is looked after. While the server is away
// nobody can take the lock, and for so long after it is back we may not know
// that we lost it: what the lock protects must bear that.
const holdCheck = 5 * time.Second

// Hold takes the lock of a number. On SQLite the process that has the file has
// every lock.
func Hold(ctx context.Context, d *db.DB, number int64) (*Holding, error) {
	if d.Dialect != db.Postgres {
		return &Holding{lost: make(chan struct{}), release: func() {}}, nil
	}
	return hold(ctx, d, "hashtext('eclose ' || current_schema()), $1::int", number, holdCheck)
}

// hold takes the lock of a pair of numbers, an SQL expression with one argument,
// and looks after it so often.
func hold(ctx context.Context, d *db.DB, pair string, arg any, every time.Duration) (*Holding, error) {
	h := &Holding{lost: make(chan struct{})}
	c, err := d.Pool.Acquire(ctx)
	if err != nil {
		return nil, fmt.Errorf("taking a lock: %w", err)
	}
	conn := c.Hijack() // the lock belongs to the connection, which nobody else may use
	var ok bool
	if err := conn.QueryRow(ctx, "SELECT pg_try_advisory_lock("+pair+")", arg).Scan(&ok); err != nil || !ok {
		_ = conn.Close(context.WithoutCancel(ctx))
		if err == nil {
			err = ErrHeld
		}
		return nil, fmt.Errorf("taking a lock: %w", err)
	}
	always := context.WithoutCancel(ctx)
	watch, stop := context.WithCancel(always)
	done := make(chan struct{})
	h.release = func() {
		stop()
		<-done
	}
	go func() {
		defer close(done)
		t := time.NewTicker(every)
		defer t.Stop()
		for {
			select {
			case <-watch.Done():
				_ = conn.Close(always) // which gives the lock up
				return
			case <-t.C:
				ask, cancel := context.WithTimeout(watch, holdCheck)
				err := conn.Ping(ask)
				cancel()
				if err != nil && watch.Err() == nil {
					_ = conn.Close(always)
					close(h.lost)
					return
				}
			}
		}
	}()
	return h, nil
}

// FeedsLock is held by the process that asks the agencies.
const FeedsLock = 1
