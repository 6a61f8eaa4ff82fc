package subscribe

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe/internal/sqlc"
)

// Kinds of bounce.
const (
	BounceHard      = "hard"      // no such mailbox: suppress at once
	BounceFull      = "full"      // mailbox full, or given up: suppress after several over weeks
	BouncePolicy    = "policy"    // the receiver dislikes us, not the address: never suppress
	BounceSoft      = "soft"      // anything else: keep for a human
	BounceComplaint = "complaint" // the person pressed "spam": suppress at once
)

// Full mailboxes suppress after so many on different days over so long; our
// own default.
const (
	fullTimes  = 3
	fullWithin = 60 * day
	fullSpan   = 14 * day
)

// KindOf sorts an enhanced status code (RFC 3463); code is the basic SMTP code
// where there is one. What is not recognised is soft.
func KindOf(status string, code int) string {
	switch {
	case status == "5.1.1", status == "5.1.2", status == "5.1.3", status == "5.1.6", status == "5.1.10", status == "5.2.1":
		return BounceHard
	case strings.HasSuffix(status, ".2.2"), status == "4.4.7", status == "5.4.7":
		return BounceFull
	case len(status) > 2 && strings.HasPrefix(status[1:], ".7."):
		return BouncePolicy
	case status == "" && (code == 550 || code == 551 || code == 553):
		return BounceHard // no enhanced code: what RFC 5321 gives these for
	}
	return BounceSoft
}

// Bounce is one report that a mail did not arrive, whoever reported it.
type Bounce struct {
	Person string // id
	Kind   string
	Status string // enhanced code
	Source string // "smtp", "report", ...
	Key    string // names the report, so that reading it again changes nothing
	At     time.Time
}

// Bounced records b and, where that is due, suppresses the person. It returns
// whether the report was new.
func (s *Store) Bounced(ctx context.Context, b Bounce) (fresh bool, err error) {
	err = s.db.Tx(ctx, func(tx *db.Tx) error {
		fresh, err = RecordBounce(ctx, tx, b)
		return err
	})
	return fresh, err
}

// RecordBounce is Bounced inside a running transaction.
func RecordBounce(ctx context.Context, tx db.Querier, b Bounce) (fresh bool, err error) {
	q := sqlc.New(tx)
	id := sha256.Sum256([]byte(b.Source + "\x00" + b.Key))
	n, err := q.AddBounce(ctx, sqlc.AddBounceParams{
		ID: hex.EncodeToString(id[:16]), PersonID: b.Person, Kind: b.Kind, Status: b.Status, Source: b.Source, At: db.Micros(b.At),
	})
	if err != nil {
		return false, fmt.Errorf("recording a bounce of %s: %w", b.Person, err)
	}
	if n == 0 {
		return false, nil
	}
	due := b.Kind == BounceHard || b.Kind == BounceComplaint
	if b.Kind == BounceFull {
		if due, err = fullTooOften(ctx, q, b); err != nil {
			return true, err
		}
	}
	if !due {
		return true, nil
	}
	if _, err := q.Suppress(ctx, sqlc.SuppressParams{ID: b.Person, Suppressed: b.Kind}); err != nil {
		return true, fmt.Errorf("suppressing %s: %w", b.Person, err)
	}
	if _, err := q.DropQueued(ctx, sqlc.DropQueuedParams{PersonID: b.Person, Reason: "suppressed: " + b.Kind}); err != nil {
		return true, fmt.Errorf("suppressing %s: %w", b.Person, err)
	}
	return true, nil
}

func fullTooOften(ctx context.Context, q *sqlc.Queries, b Bounce) (bool, error) {
	all, err := q.BouncesOf(ctx, b.Person)
	if err != nil {
		return false, fmt.Errorf("reading the bounces of %s: %w", b.Person, err)
	}
	days := map[int64]bool{}
	first := b.At
	for _, o := range all {
		at := db.Time(o.At)
		if o.Kind != BounceFull || b.At.Sub(at) > fullWithin {
			continue
		}
		days[at.Unix()/86400] = true
		if at.Before(first) {
			first = at
		}
	}
	return len(days) >= fullTimes && b.At.Sub(first) >= fullSpan, nil
}
