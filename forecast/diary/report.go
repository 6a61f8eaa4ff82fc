package diary

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/eclose/forecast/diary/internal/sqlc"
	"example.org/eclose/ingest/db"
)

// Trust is how the owner treats what one author writes.
type Trust string

// The ways. Without one a report enters the forecast unless it is doubtful.
const (
	DefaultTrust Trust = ""
	Trusted      Trust = "trusted" // even doubtful reports enter
	Blocked      Trust = "held"    // none enters
)

// ErrUsed is returned for a link that was used before, and ErrTooMany where an
// author wrote too much in a day. Neither writes anything.
var (
	ErrUsed    = errors.New("this was already recorded")
	ErrTooMany = errors.New("too many reports today")
)

// perDay is how many reports one author may write in 24 hours: three rivers of
// ten insects. Our own default.
const perDay = 30

// A Report is a reader's sighting on its way in.
type Report struct {
	Sighting
	Link    string    // the signed link that allows it; it can be used once
	Expires time.Time // of the link
	Doubt   string    // why it is held back unless its author is trusted; empty: it is not
}

// Report keeps a reader's sighting, held back from the forecast where it is
// doubtful or its author is not wanted. One author has one sighting of a stage
// at a river on a day: a later report replaces it, so that nobody counts twice.
func (s *Store) Report(ctx context.Context, r Report) (Sighting, error) {
	x := r.Sighting
	x.Origin = Reader
	x.ID = idOf("report", x.Author, x.River, x.Group, x.Stage, x.Date())
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		if err := x.Check(s.Now()); err != nil {
			return err
		}
		q := sqlc.New(tx)
		sum := sha256.Sum256([]byte(r.Link))
		n, err := q.UseLink(ctx, sqlc.UseLinkParams{Hash: hex.EncodeToString(sum[:]), UsedAt: db.Micros(s.Now()), ExpiresAt: db.Micros(r.Expires)})
		if err != nil {
			return err
		}
		if n == 0 {
			return ErrUsed
		}
		lately, err := q.CountByAuthor(ctx, sqlc.CountByAuthorParams{Author: x.Author, Since: db.Micros(s.Now().Add(-24 * time.Hour))})
		if err != nil {
			return err
		}
		if lately >= perDay {
			return ErrTooMany
		}
		trust, err := s.trust(ctx, q, x.Author)
		if err != nil {
			return err
		}
		if x.Held = trust == Blocked; r.Doubt != "" && trust != Trusted {
			x.Held, x.Notes = true, r.Doubt
		}
		if old, err := q.Current(ctx, x.ID); err == nil && old.Held != 0 && old.Withdrawn == 0 {
			x.Held = true // what the owner holds back does not come in by writing it again
		}
		_, err = s.put(ctx, tx, &x, true)
		return err
	})
	if err != nil {
		return x, fmt.Errorf("keeping a report: %w", err)
	}
	return x, nil
}

func idOf(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:8])
}

func (s *Store) trust(ctx context.Context, q *sqlc.Queries, author string) (Trust, error) {
	all, err := q.Authors(ctx)
	if err != nil {
		return DefaultTrust, err
	}
	for _, a := range all {
		if a.ID == author {
			return Trust(a.Trust), nil
		}
	}
	return DefaultTrust, nil
}

// Authors returns how the owner treats those of whom that was set.
func (s *Store) Authors(ctx context.Context) (map[string]Trust, error) {
	all, err := sqlc.New(s.DB.SQL).Authors(ctx)
	if err != nil {
		return nil, fmt.Errorf("reading whom the owner trusts: %w", err)
	}
	out := map[string]Trust{}
	for _, a := range all {
		out[a.ID] = Trust(a.Trust)
	}
	return out, nil
}

// SetTrust says how an author is treated from now on and does the same with
// what the author wrote before.
func (s *Store) SetTrust(ctx context.Context, author string, t Trust) error {
	if author == "" || t != DefaultTrust && t != Trusted && t != Blocked {
		return fmt.Errorf("trust of %q: unknown %q", author, t)
	}
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		if err := sqlc.New(tx).SetAuthor(ctx, sqlc.SetAuthorParams{ID: author, Trust: string(t), SetAt: db.Micros(s.Now())}); err != nil {
			return err
		}
		if t == DefaultTrust {
			return nil
		}
		rows, err := sqlc.New(tx).ByAuthor(ctx, author)
		if err != nil {
			return err
		}
		for _, x := range fromRows(rows) {
			x.Held = t == Blocked
			if _, err := s.put(ctx, tx, &x, false); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("setting whom the owner trusts: %w", err)
	}
	return nil
}

// Hold keeps a sighting out of the forecast, or lets it in again.
func (s *Store) Hold(ctx context.Context, id string, yes bool) error {
	if err := s.change(ctx, id, func(x *Sighting) { x.Held = yes }); err != nil {
		return fmt.Errorf("holding sighting %s: %w", id, err)
	}
	return nil
}

// Of returns what one author wrote and did not withdraw, newest day first.
func (s *Store) Of(ctx context.Context, author string) ([]Sighting, error) {
	rows, err := sqlc.New(s.DB.SQL).ByAuthor(ctx, author)
	if err != nil {
		return nil, fmt.Errorf("listing the reports of %s: %w", author, err)
	}
	return fromRows(rows), nil
}

// DeleteOwn withdraws a sighting of an author at their wish and forgets who
// wrote it. Another's is db.ErrNotFound.
func (s *Store) DeleteOwn(ctx context.Context, author, id string) error {
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		q := sqlc.New(tx)
		old, err := q.Current(ctx, id)
		if err != nil {
			return notFound(err)
		}
		if author == "" || old.Author != author || old.Withdrawn != 0 {
			return db.ErrNotFound
		}
		x := fromRow(old)
		x.Withdrawn = true
		if _, err := s.put(ctx, tx, &x, false); err != nil {
			return err
		}
		_, err = q.ForgetSighting(ctx, id)
		return err
	})
	if err != nil {
		return fmt.Errorf("deleting sighting %s: %w", id, err)
	}
	return nil
}

// ForgetAuthor forgets who wrote the sightings of an author; what was seen
// stays. It is for a reader who has all of their data deleted.
func (s *Store) ForgetAuthor(ctx context.Context, author string) error {
	if author == "" {
		return nil
	}
	if _, err := sqlc.New(s.DB.SQL).ForgetAuthor(ctx, author); err != nil {
		return fmt.Errorf("forgetting an author: %w", err)
	}
	return nil
}

// Clean forgets used links that have expired anyhow.
func (s *Store) Clean(ctx context.Context) (int64, error) {
	n, err := sqlc.New(s.DB.SQL).ForgetLinks(ctx, db.Micros(s.Now()))
	if err != nil {
		return 0, fmt.Errorf("forgetting used links: %w", err)
	}
	return n, nil
}
