package jobs

import (
	"context"
	"time"

	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"example.org/eclose/ingest/db"
)

// The leader of River's clients keeps the schedules, makes due what waits and
// takes up what was cut off. It holds a lease of 15 s, which a process that was
// killed leaves behind: for so long nobody leads. The server knows better, since
// the connection of a dead process is gone and its locks with it. So each process
// on PostgreSQL holds a lock of its own name, and whoever finds the leader's lock
// free gives the lease up in its place, which wakes the others. A leader that
// merely lost its connection loses its lease, too, finds that out within 5 s and
// stands again; until then two may lead, which unique jobs bear. Where a whole
// machine is gone and its connections linger, the lease runs out as ever.
type leader struct {
	db    *db.DB
	id    string
	river *riverpgxv5.Driver
	own   *Holding // nil: lost, or never got

	stop context.CancelFunc
	done chan struct{}
}

// leaderEvery is how often a process looks after its own lock and the leader's.
const leaderEvery = 2 * time.Second

// ownLock is the pair of numbers of a process's lock.
const ownLock = "hashtext('eclose worker ' || current_schema()), hashtext($1::text)"

// leadership is how River names the news that a leader resigned.
const leadership = "river_leadership"

func newLeader(d *db.DB, id string) *leader {
	if d.Dialect != db.Postgres {
		return nil
	}
	return &leader{db: d, id: id, river: riverpgxv5.New(d.Pool)}
}

// start takes the lock before the process may become leader.
func (a *leader) start(ctx context.Context) {
	if a == nil {
		return
	}
	ctx, a.stop = context.WithCancel(context.WithoutCancel(ctx))
	a.done = make(chan struct{})
	a.keep(ctx)
	go func() {
		defer close(a.done)
		t := time.NewTicker(leaderEvery)
		defer t.Stop()
		for {
			select {
			case <-ctx.Done():
				if a.own != nil {
					a.own.Release()
				}
				return
			case <-t.C:
				a.keep(ctx)
				if a.own != nil {
					a.relieve(ctx)
				}
			}
		}
	}()
}

func (a *leader) end() {
	if a == nil || a.stop == nil {
		return
	}
	a.stop()
	<-a.done
}

// keep takes the lock again where it was lost. While the server is away there is
// none: the next look tries again.
func (a *leader) keep(ctx context.Context) {
	if a.own != nil {
		select {
		case <-a.own.Lost():
			a.own.Release()
			a.own = nil
		default:
			return
		}
	}
	ask, cancel := context.WithTimeout(ctx, holdCheck)
	defer cancel()
	if own, err := hold(ask, a.db, ownLock, a.id, leaderEvery); err == nil {
		a.own = own
	}
}

// relieve gives up the lease of a leader that is dead. A failure costs nothing
// but the time until the next look.
func (a *leader) relieve(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, holdCheck)
	defer cancel()
	leader, err := a.river.GetExecutor().LeaderGetElectedLeader(ctx, &riverdriver.LeaderGetElectedLeaderParams{})
	if err != nil || leader.LeaderID == a.id {
		return
	}
	tx, err := a.db.Pool.Begin(ctx)
	if err != nil {
		return
	}
	defer func() { _ = tx.Rollback(context.WithoutCancel(ctx)) }() // which frees the lock
	var dead bool
	if err := tx.QueryRow(ctx, "SELECT pg_try_advisory_xact_lock("+ownLock+")", leader.LeaderID).Scan(&dead); err != nil || !dead {
		return
	}
	resign := &riverdriver.LeaderResignParams{ElectedAt: leader.ElectedAt, LeaderID: leader.LeaderID, LeadershipTopic: leadership}
	if _, err := a.river.UnwrapExecutor(tx).LeaderResign(ctx, resign); err == nil {
		_ = tx.Commit(ctx)
	}
}
