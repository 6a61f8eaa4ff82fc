package subscribe

import (
	"context"
	"fmt"

	"example.org/eclose/ingest/db"
)

// BounceRelay is what becomes of a refusal that turned out to be the relay's
// fault: it is kept and counts for nothing.
const BounceRelay = "relay"

// ForgiveRefusals takes back the suppressions that followed from what the relay
// itself refused since a moment, in microseconds. Who complained, or whose own
// server reported the mailbox gone, stays suppressed.
func ForgiveRefusals(ctx context.Context, tx db.Querier, since int64) error {
	if _, err := tx.ExecContext(ctx, `UPDATE person SET suppressed = '' WHERE suppressed IN ('hard', 'full')
		AND id IN (SELECT person_id FROM bounce WHERE source = 'smtp' AND kind IN ('hard', 'full') AND at > $1)
		AND id NOT IN (SELECT person_id FROM bounce WHERE source <> 'smtp' AND kind IN ('hard', 'complaint'))`, since); err != nil {
		return fmt.Errorf("taking suppressions back: %w", err)
	}
	if _, err := tx.ExecContext(ctx, "UPDATE bounce SET kind = $1 WHERE source = 'smtp' AND at > $2", BounceRelay, since); err != nil {
		return fmt.Errorf("taking refusals back: %w", err)
	}
	return nil
}

// SuppressedShare is how many of all active subscribers get nothing because mail
// to them bounced, from 0 to 1.
func (s *Store) SuppressedShare(ctx context.Context) (float64, error) {
	var all, suppressed int
	err := s.db.SQL.QueryRowContext(ctx, "SELECT COUNT(*), COALESCE(SUM(CASE WHEN suppressed <> '' THEN 1 ELSE 0 END), 0) FROM person WHERE state = $1", stateActive).Scan(&all, &suppressed)
	if err != nil {
		return 0, fmt.Errorf("counting the suppressed: %w", err)
	}
	if all == 0 {
		return 0, nil
	}
	return float64(suppressed) / float64(all), nil
}
