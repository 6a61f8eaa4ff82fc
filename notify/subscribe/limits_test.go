package subscribe

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
)

// Each limit on sign-ups, number by number: the last request within it gets its
// mail, the next gets none, and once the earlier ones are old enough it gets one again.
func TestEachSignUpLimitHoldsToTheLastRequest(t *testing.T) {
	const network = "192.0.2.0/24"
	for _, c := range []struct {
		limit  string
		most   int
		within time.Duration
		told   bool
	}{
		{LimitAddress, 1, 24 * time.Hour, false}, {LimitAddress, 3, 30 * 24 * time.Hour, false},
		{LimitNetwork, 5, 24 * time.Hour, true}, {LimitNetwork, 20, 30 * 24 * time.Hour, true},
		{LimitDomain, 60, time.Hour, false}, {LimitDomain, 400, 24 * time.Hour, false},
		{LimitEverybody, 2000, time.Hour, true},
	} {
		// earlier are requests that share what the limit counts, and nothing else.
		earlier := func(t *testing.T, s *Store, n int) {
			t.Helper()
			must(t, s.db.Tx(t.Context(), func(tx *db.Tx) error {
				for i := range n {
					x, same := s.signupOf(fmt.Sprintf("earlier@domain-%d.example", i), fmt.Sprint("network ", i)), s.signupOf("angler@example.org", network)
					switch c.limit {
					case LimitAddress:
						x.address = same.address
					case LimitNetwork:
						x.network = same.network
					case LimitDomain:
						x.domain = same.domain
					}
					if _, err := tx.ExecContext(t.Context(), "INSERT INTO signup (id, address, network, domain, at) VALUES ($1, $2, $3, $4, $5)",
						newID(), x.address, x.network, x.domain, db.Micros(noon.Add(-c.within+time.Second))); err != nil {
						return err
					}
				}
				return nil
			}))
		}
		r := request1("angler@example.org")
		r.Network = network
		t.Run(fmt.Sprintf("%d by %s in %s", c.most, c.limit, c.within), func(t *testing.T) {
			each(t, func(t *testing.T, s *Store, _ *time.Time) {
				earlier(t, s, c.most-1)
				if inv, err := s.Ask(t.Context(), r); inv == nil || err != nil {
					t.Errorf("the last within the limit: %v, %v", inv, err)
				}
			})
			each(t, func(t *testing.T, s *Store, clock *time.Time) {
				refused := ""
				s.Refused = func(limit string) { refused = limit }
				earlier(t, s, c.most)
				if inv, err := s.Ask(t.Context(), r); inv != nil || c.told != errors.Is(err, ErrBusy) || refused != c.limit {
					t.Errorf("one too many: %v, %v, refused by %q", inv, err, refused)
				}
				*clock = clock.Add(2 * time.Second)
				if inv, err := s.Ask(t.Context(), r); inv == nil || err != nil {
					t.Errorf("when the others are old: %v, %v", inv, err)
				}
			})
		})
	}
}

// What is not confirmed within 48 hours cannot be, and is gone after seven days; the
// counts of the limits are gone after 31.
func TestWhatASignUpLeavesEndsOnItsDay(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		inv, err := s.Ask(t.Context(), request1("a@example.org"))
		must(t, err)
		left := func(table string) (n int) {
			t.Helper()
			_, err := s.Clean(t.Context())
			must(t, err)
			must(t, s.db.SQL.QueryRowContext(t.Context(), "SELECT COUNT(*) FROM "+table).Scan(&n))
			return n
		}
		at := func(d time.Duration) { *clock = noon.Add(d) }
		at(48*time.Hour - time.Second)
		if _, err := s.Peek(t.Context(), inv.Token); err != nil {
			t.Errorf("just before 48 hours: %v", err)
		}
		at(48*time.Hour + time.Second)
		if _, err := s.Confirm(t.Context(), inv.Token, ""); !errors.Is(err, ErrToken) {
			t.Errorf("just after 48 hours: %v", err)
		}
		for _, c := range []struct {
			table string
			after time.Duration
		}{{"token", 7 * 24 * time.Hour}, {"signup", 31 * 24 * time.Hour}} {
			at(c.after - time.Second)
			if n := left(c.table); n != 1 {
				t.Errorf("%s: %d rows just before %s", c.table, n, c.after)
			}
			at(c.after + time.Second)
			if n := left(c.table); n != 0 {
				t.Errorf("%s: %d rows just after %s", c.table, n, c.after)
			}
		}
	})
}
