package subscribe

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe/internal/sqlc"
)

// The limits that keep others from having a stranger's mailbox filled through
// us; our own defaults. A mailbox and a network have few. A domain has many: a
// provider hosts many people. That of everybody is so high that only an attack
// reaches it, and the operator is notified.
const (
	perAddressDay    = 1
	perAddressMonth  = 3
	perNetworkDay    = 5
	perNetworkMonth  = 20
	perDomainHour    = 60
	perDomainDay     = 400
	everybodyPerHour = 2000
)

// Names of the limits, as Refused gets them.
const (
	LimitAddress   = "address"
	LimitNetwork   = "network"
	LimitDomain    = "domain"
	LimitEverybody = "everybody"
)

// canonical is the mailbox that an address leads to, as far as one can tell
// without asking: what follows a plus sign is the reader's own label, and
// Google's hosts ignore dots. It is for limits only: mail goes to the address as
// written.
func canonical(folded string) string {
	local, domain, ok := strings.Cut(folded, "@")
	if !ok {
		return folded
	}
	if base, _, tagged := strings.Cut(local, "+"); tagged && base != "" {
		local = base
	}
	if domain == "googlemail.com" {
		domain = "gmail.com"
	}
	if domain == "gmail.com" {
		local = strings.ReplaceAll(local, ".", "")
	}
	return local + "@" + domain
}

func domainOf(folded string) string { return folded[strings.LastIndexByte(folded, '@')+1:] }

// signup is one request as the limits see it: hashes.
type signup struct{ address, domain, network string }

func (s *Store) signupOf(folded, network string) signup {
	x := signup{address: s.keyed("address", canonical(folded)), domain: s.keyed("domain", domainOf(folded))}
	if network != "" {
		x.network = s.keyed("network", network)
	}
	return x
}

// mayMail applies the limits: an error where the asker should learn of it, false
// where telling would give somebody else's secret away.
func (s *Store) mayMail(ctx context.Context, tx *db.Tx, folded string, x signup, now time.Time) (bool, error) {
	for _, l := range []struct {
		name, column, value string
		within              time.Duration
		most                int
		answered            bool // whether the asker learns of it
	}{
		{LimitAddress, "address", x.address, day, perAddressDay, false},
		{LimitAddress, "address", x.address, month, perAddressMonth, false},
		{LimitNetwork, "network", x.network, day, perNetworkDay, true},
		{LimitNetwork, "network", x.network, month, perNetworkMonth, true},
		{LimitDomain, "domain", x.domain, time.Hour, perDomainHour, false},
		{LimitDomain, "domain", x.domain, day, perDomainDay, false},
		{LimitEverybody, "", "", time.Hour, everybodyPerHour, true},
	} {
		if l.column != "" && l.value == "" {
			continue // the operator at the command line has no network
		}
		query, args := "SELECT COUNT(*) FROM signup WHERE at > $1", []any{db.Micros(now.Add(-l.within))}
		if l.column != "" {
			query, args = query+" AND "+l.column+" = $2", append(args, l.value)
		}
		var n int
		if err := tx.QueryRowContext(ctx, query, args...).Scan(&n); err != nil {
			return false, fmt.Errorf("counting requests: %w", err)
		}
		if n < l.most {
			continue
		}
		if s.Refused != nil {
			s.Refused(l.name)
		}
		if l.answered {
			return false, fmt.Errorf("%w (limit of %s)", ErrBusy, l.name)
		}
		return false, nil
	}
	var never int
	if err := tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM never WHERE address = $1", x.address).Scan(&never); err != nil || never > 0 {
		return false, err
	}
	p, err := sqlc.New(tx).PersonByAddress(ctx, folded)
	if errors.Is(err, sql.ErrNoRows) {
		return true, nil
	}
	// Who complained about us is not written to again.
	return err == nil && p.Suppressed != BounceComplaint, err
}

// Never keeps us from writing to an address again, whoever asks: the wish of
// whoever got a confirmation mail that they did not ask for. The token is either
// one of the mail, also when it is too late to confirm. Only a hash of the address
// is kept, and all requests of it go. Call it on POST only; a second call finds
// nothing and wraps ErrToken.
func (s *Store) Never(ctx context.Context, token string) error {
	if id, err := s.Links.person(linkNever, token); err == nil {
		token = s.confirmation(id)
	}
	err := s.db.Tx(ctx, func(tx *db.Tx) error {
		q := sqlc.New(tx)
		t, err := q.Token(ctx, hashToken(token))
		if errors.Is(err, sql.ErrNoRows) || err == nil && t.UsedAt != 0 { // who confirmed unsubscribes
			return ErrToken
		}
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO never (address, at) VALUES ($1, $2) ON CONFLICT (address) DO NOTHING", s.keyed("address", canonical(t.Folded)), db.Micros(s.now())); err != nil {
			return err
		}
		_, err = q.DropTokensOf(ctx, t.Folded)
		return err
	})
	if err != nil {
		return fmt.Errorf("never writing again: %w", err)
	}
	return nil
}
