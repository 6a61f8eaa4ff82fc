package subscribe

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe/internal/sqlc"
)

// Data is everything we hold of one person.
type Data struct {
	Person   Person         `json:"person"`
	Episodes []sqlc.Episode `json:"episodes"`
	Outbox   []sqlc.Outbox  `json:"outbox"`
	SendLog  []sqlc.SendLog `json:"send_log"`
	Bounces  []sqlc.Bounce  `json:"bounces"`
}

// Export returns everything we hold of the person with that address, as JSON.
func (s *Store) Export(ctx context.Context, address string) ([]byte, error) {
	q := sqlc.New(s.db.SQL)
	p, err := s.byAddress(ctx, q, address)
	if err != nil {
		return nil, err
	}
	var d Data
	var errs [5]error
	d.Person, errs[0] = s.person(ctx, q, p)
	d.Episodes, errs[1] = q.EpisodesOf(ctx, p.ID)
	d.Outbox, errs[2] = q.OutboxOf(ctx, p.ID)
	d.SendLog, errs[3] = q.SendLogOf(ctx, p.ID)
	d.Bounces, errs[4] = q.BouncesOf(ctx, p.ID)
	if err := errors.Join(errs[:]...); err != nil {
		return nil, fmt.Errorf("exporting the data of %s: %w", p.ID, err)
	}
	b, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("exporting the data of %s: %w", p.ID, err)
	}
	return append(b, '\n'), nil
}

// Delete removes everything we hold of an address, pending requests included,
// and reports whether there was a person. The hash that limits further requests
// goes too.
func (s *Store) Delete(ctx context.Context, address string) (found bool, err error) {
	a, err := ParseAddress(address)
	if err != nil {
		return false, err
	}
	err = s.db.Tx(ctx, func(tx *db.Tx) error {
		q := sqlc.New(tx)
		if _, err := q.DropTokensOf(ctx, fold(a)); err != nil {
			return err
		}
		if _, err := q.DropSignupsOf(ctx, s.keyed("address", canonical(fold(a)))); err != nil {
			return err
		}
		p, err := s.byAddress(ctx, q, a)
		if errors.Is(err, db.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		found = true
		// Subscriptions and episodes go with the person, by the schema.
		for _, drop := range []func(context.Context, string) (int64, error){
			q.DropOutbox, q.DropSendLog, q.DropBounces, q.DropPerson,
		} {
			if _, err := drop(ctx, p.ID); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return false, fmt.Errorf("deleting the data of %s: %w", s.LogID(a), err)
	}
	return found, nil
}
