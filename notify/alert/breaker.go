package alert

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe"
)

// A relay that refuses so many of the readers, or so large a share of them,
// within so long has a fault of its own: readers do not move house all at once.
// Our own defaults.
const (
	breakerLeast  = 3
	breakerShare  = 0.2
	breakerWithin = 24 * time.Hour
	breakerRest   = time.Hour // how long nothing is sent then
)

// errBreaker is wrapped where sending stopped because too many readers were
// refused.
var errBreaker = errors.New("the relay refused too many readers; no more email was sent, and nobody is suppressed for it")

func tooMany(refused, sent int) bool {
	return refused >= breakerLeast && float64(refused) >= breakerShare*float64(refused+sent)
}

// Break looks whether the relay refused too many of late. If so it takes back
// the suppressions that followed from that, has all processes send nothing for a
// while, and returns true.
func (s *Store) Break(ctx context.Context) (broken bool, err error) {
	since := db.Micros(s.now().Add(-breakerWithin))
	err = s.db.Tx(ctx, func(tx *db.Tx) error {
		var refused, sent int
		if err := tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM bounce WHERE source = 'smtp' AND kind <> $1 AND at > $2", subscribe.BounceRelay, since).Scan(&refused); err != nil {
			return err
		}
		if err := tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM send_log WHERE result = $1 AND at > $2", mailSent, since).Scan(&sent); err != nil {
			return err
		}
		if broken = tooMany(refused, sent); !broken {
			return nil
		}
		if err := subscribe.ForgiveRefusals(ctx, tx, since); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO mail_pause (id, until_at) VALUES (1, $1) ON CONFLICT (id) DO UPDATE SET until_at = excluded.until_at", db.Micros(s.now().Add(breakerRest)))
		return err
	})
	if err != nil {
		return false, fmt.Errorf("looking whether the relay refuses too many readers: %w", err)
	}
	return broken, nil
}

// PausedUntil is until when no mail is sent because the relay refused too many
// readers; the zero time where mail is sent. A restart does not end the pause.
func (s *Store) PausedUntil(ctx context.Context) (time.Time, error) {
	var until int64
	if err := s.db.SQL.QueryRowContext(ctx, "SELECT COALESCE(MAX(until_at), 0) FROM mail_pause").Scan(&until); err != nil {
		return time.Time{}, fmt.Errorf("looking whether mail is paused: %w", err)
	}
	if until <= db.Micros(s.now()) {
		return time.Time{}, nil
	}
	return db.Time(until), nil
}

// OutboxState is what the outbox waits for and when the relay last took a mail.
func (s *Store) OutboxState(ctx context.Context) (oldestDue, lastSent time.Time, err error) {
	var due, last int64
	err = s.db.SQL.QueryRowContext(ctx, "SELECT COALESCE(MIN(not_before), 0) FROM outbox WHERE state = 'queued' AND not_before <= $1", db.Micros(s.now())).Scan(&due)
	if err == nil {
		err = s.db.SQL.QueryRowContext(ctx, "SELECT COALESCE(MAX(at), 0) FROM send_log WHERE result = $1", mailSent).Scan(&last)
	}
	if err != nil {
		return time.Time{}, time.Time{}, fmt.Errorf("looking at the outbox: %w", err)
	}
	return db.Time(due), db.Time(last), nil
}
