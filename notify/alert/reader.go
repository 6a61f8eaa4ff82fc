package alert

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"example.org/eclose/ingest/db"
)

// Recipient returns the reader of a mail by its key; db.ErrNotFound where we know
// of none, or where everything we held of them was deleted.
func (s *Store) Recipient(ctx context.Context, key string) (person string, err error) {
	q := s.plain()
	m, err := q.Mail(ctx, key)
	if err == nil {
		return m.PersonID, nil
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("looking for the mail %s: %w", key, err)
	}
	log, err := q.LogOf(ctx, key)
	if err != nil {
		return "", fmt.Errorf("looking for the mail %s: %w", key, err)
	}
	if len(log) == 0 {
		return "", fmt.Errorf("looking for the mail %s: %w", key, db.ErrNotFound)
	}
	return log[0].PersonID, nil
}
