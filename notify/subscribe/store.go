package subscribe

import (
	"context"
	"crypto/subtle"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe/internal/sqlc"
)

// Store keeps people and their subscriptions. Make it with New.
type Store struct {
	Links
	// Asked is called in the transaction of Ask, for whoever sends what Invitation
	// gives for the id; nil: the caller of Ask does. Set it before the first Ask.
	Asked func(ctx context.Context, tx *db.Tx, id string) error

	// Refused is called with the limit that refused a request; may be nil.
	Refused func(limit string)

	db    *db.DB
	now   func() time.Time
	names Names
}

// How long things are kept and links work; our own defaults. An address that
// was never confirmed is in a token only, and goes with it.
const (
	tokenLife         = 48 * time.Hour
	tokensKept        = 7 * 24 * time.Hour
	signupsKept       = 31 * 24 * time.Hour
	month             = 30 * 24 * time.Hour
	day               = 24 * time.Hour
	stateActive       = "active"
	stateUnsubscribed = "unsubscribed"
)

// ErrBusy is wrapped when so many confirmations were asked for, by one network
// or by all, that no more are sent for a while.
var ErrBusy = errors.New("too many subscription requests; try again tomorrow")

// Person is somebody who confirmed an address.
type Person struct {
	ID            string         `json:"id"`
	Address       string         `json:"address"`
	State         string         `json:"state"` // active or unsubscribed
	Zone          string         `json:"zone"`
	Units         string         `json:"units"`
	QuietFrom     int            `json:"quiet_from"`
	QuietTo       int            `json:"quiet_to"`
	WakeFor3      bool           `json:"wake_for_3"`
	PerDay        int            `json:"per_day"`
	Wording       string         `json:"wording"`
	Confirmed     time.Time      `json:"confirmed"`
	PausedUntil   time.Time      `json:"paused_until"`
	Suppressed    string         `json:"suppressed"` // why no mail is sent; empty: none
	Subscriptions []Subscription `json:"wants"`
}

// New returns a Store on d.
func New(ctx context.Context, d *db.DB, names Names, now func() time.Time) (*Store, error) {
	key, err := d.Key(ctx, "links", now())
	if err != nil {
		return nil, err
	}
	return &Store{Links: Links{key}, db: d, now: now, names: names}, nil
}

// LogID is how an address may appear in a log.
func (s *Store) LogID(address string) string { return "a-" + s.keyed("address", fold(address)) }

// Invitation is the mail to send to whoever asked: it holds nothing that they
// typed but slugs of rivers and groups that exist.
type Invitation struct {
	ID      string
	Address string
	Token   string // for the link; whoever POSTs it confirms
	Never   string // for the link by which nobody is written to again
	Expires time.Time
	Request Request
}

// Ask takes in a request. It has no effect until Confirm. A nil invitation
// with a nil error means that no mail may go to this address now; the page must
// answer the same in both cases, so that nobody learns who is known here.
func (s *Store) Ask(ctx context.Context, r Request) (*Invitation, error) {
	r.complete()
	if err := r.check(s.names); err != nil {
		return nil, fmt.Errorf("subscribing: %w", err)
	}
	r.Address, _ = ParseAddress(r.Address) // checked just now
	folded, now := fold(r.Address), s.now()
	body, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("subscribing: %w", err)
	}
	var out *Invitation
	err = s.db.Tx(ctx, func(tx *db.Tx) error {
		q := sqlc.New(tx)
		x := s.signupOf(folded, r.Network)
		ok, err := s.mayMail(ctx, tx, folded, x, now)
		if err != nil || !ok {
			return err
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO signup (id, address, network, domain, at) VALUES ($1, $2, $3, $4, $5)", newID(), x.address, x.network, x.domain, db.Micros(now)); err != nil {
			return err
		}
		id, expires := newID(), now.Add(tokenLife)
		out = &Invitation{ID: id, Address: r.Address, Token: s.confirmation(id), Never: s.make(linkNever, id), Expires: expires, Request: r}
		if err := q.AddToken(ctx, sqlc.AddTokenParams{
			Hash: hashToken(out.Token), Purpose: linkConfirm, Folded: folded, Body: string(body), CreatedAt: db.Micros(now), ExpiresAt: db.Micros(expires),
		}); err != nil || s.Asked == nil {
			return err
		}
		return s.Asked(ctx, tx, id)
	})
	if err != nil {
		return nil, fmt.Errorf("subscribing %s: %w", s.LogID(r.Address), err)
	}
	return out, nil
}

// Invitation gives an invitation again, as Ask did; ErrToken is wrapped where it
// was used, expired, or taken away with all that was held of the address.
func (s *Store) Invitation(ctx context.Context, id string) (*Invitation, error) {
	token := s.confirmation(id)
	t, err := s.token(ctx, sqlc.New(s.db.SQL), token)
	if err != nil {
		return nil, fmt.Errorf("invitation %s: %w", id, err)
	}
	r, err := request(t)
	if err != nil {
		return nil, err
	}
	return &Invitation{ID: id, Address: r.Address, Token: token, Never: s.make(linkNever, id), Expires: db.Time(t.ExpiresAt), Request: r}, nil
}

// Peek returns what a token would confirm. It changes nothing: link scanners
// open every link.
func (s *Store) Peek(ctx context.Context, token string) (Request, error) {
	t, err := s.token(ctx, sqlc.New(s.db.SQL), token)
	if err != nil {
		return Request{}, err
	}
	return request(t)
}

func (s *Store) token(ctx context.Context, q *sqlc.Queries, token string) (sqlc.Token, error) {
	hash := hashToken(token)
	t, err := q.Token(ctx, hash)
	if errors.Is(err, sql.ErrNoRows) {
		return t, ErrToken
	}
	if err != nil {
		return t, fmt.Errorf("reading a token: %w", err)
	}
	// The look-up compared hashes, whose timing tells nothing of the token.
	if subtle.ConstantTimeCompare([]byte(t.Hash), []byte(hash)) != 1 || t.UsedAt != 0 || t.ExpiresAt <= db.Micros(s.now()) {
		return t, ErrToken
	}
	return t, nil
}

func request(t sqlc.Token) (Request, error) {
	var r Request
	if err := json.Unmarshal([]byte(t.Body), &r); err != nil {
		return r, fmt.Errorf("reading a kept request: %w", err)
	}
	return r, nil
}

// Confirm makes subscriptions of the request behind a token, once. Call it on POST only.
func (s *Store) Confirm(ctx context.Context, token, network string) (Person, error) {
	var p Person
	err := s.db.Tx(ctx, func(tx *db.Tx) error {
		q := sqlc.New(tx)
		t, err := s.token(ctx, q, token)
		if err != nil {
			return err
		}
		r, err := request(t)
		if err != nil {
			return err
		}
		n, err := q.UseToken(ctx, sqlc.UseTokenParams{Hash: t.Hash, Now: db.Micros(s.now())})
		if err != nil {
			return err
		}
		if n != 1 { // somebody else was quicker
			return ErrToken
		}
		p, err = s.put(ctx, q, r, network)
		return err
	})
	if err != nil {
		return p, fmt.Errorf("confirming: %w", err)
	}
	return p, nil
}

// AddConfirmed takes in somebody whose consent the operator holds already.
func (s *Store) AddConfirmed(ctx context.Context, rs ...Request) error {
	for i := range rs {
		rs[i].complete()
		if err := rs[i].check(s.names); err != nil {
			return fmt.Errorf("subscribing: %w", err)
		}
		rs[i].Address, _ = ParseAddress(rs[i].Address) // checked just now
	}
	err := s.db.Tx(ctx, func(tx *db.Tx) error {
		for _, r := range rs {
			if _, err := s.put(ctx, sqlc.New(tx), r, "operator"); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("subscribing: %w", err)
	}
	return nil
}

func (s *Store) put(ctx context.Context, q *sqlc.Queries, r Request, network string) (Person, error) {
	err := q.PutPerson(ctx, sqlc.PutPersonParams{
		ID: newID(), Address: r.Address, Folded: fold(r.Address), State: stateActive, Zone: r.Zone, Units: r.Units,
		QuietFrom: int64(r.QuietFrom), QuietTo: int64(r.QuietTo), WakeFor3: db.YesNo(r.WakeFor3), PerDay: int64(r.PerDay),
		Wording: r.Wording, ConfirmedAt: db.Micros(s.now()), ConfirmedFrom: s.keyed("network", network),
	})
	if err != nil {
		return Person{}, err
	}
	p, err := q.PersonByAddress(ctx, fold(r.Address))
	if err != nil {
		return Person{}, err
	}
	for _, w := range r.Subscriptions {
		err := q.PutWant(ctx, sqlc.PutWantParams{
			ID: newID(), PersonID: p.ID, River: w.River, GroupList: strings.Join(w.Groups, ","), StageList: strings.Join(w.Stages, ","),
			Threshold: w.Threshold, HorizonDays: int64(w.HorizonDays), Cadence: w.Cadence, Cautions: db.YesNo(w.Cautions), GaugeCondition: w.When, CreatedAt: db.Micros(s.now()),
		})
		if err != nil {
			return Person{}, err
		}
	}
	return s.person(ctx, q, p)
}

func (s *Store) person(ctx context.Context, q *sqlc.Queries, p sqlc.Person) (Person, error) {
	out := Person{
		ID: p.ID, Address: p.Address, State: p.State, Zone: p.Zone, Units: p.Units, QuietFrom: int(p.QuietFrom), QuietTo: int(p.QuietTo),
		WakeFor3: p.WakeFor3 != 0, PerDay: int(p.PerDay), Wording: p.Wording, Confirmed: db.Time(p.ConfirmedAt),
		PausedUntil: db.Time(p.PausedUntil), Suppressed: p.Suppressed,
	}
	ws, err := q.Wants(ctx, p.ID)
	if err != nil {
		return out, err
	}
	for _, w := range ws {
		out.Subscriptions = append(out.Subscriptions, Subscription{
			River: w.River, Groups: splitList(w.GroupList), Stages: splitList(w.StageList), Threshold: w.Threshold,
			HorizonDays: int(w.HorizonDays), Cadence: w.Cadence, Cautions: w.Cautions != 0, When: w.GaugeCondition,
		})
	}
	return out, nil
}

// splitList reads a list kept as words with commas between.
func splitList(s string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(s, ",")
}

// Unsubscribe stops all mail to whoever holds the token of one of our mails.
// Call it on POST only; a second call does no harm. What was queued is dropped
// in the same transaction.
func (s *Store) Unsubscribe(ctx context.Context, token string) error {
	id, err := s.Links.person(linkUnsubscribe, token)
	if err != nil {
		id, err = s.Links.person(linkManage, token)
	}
	if err != nil {
		return err
	}
	return s.unsubscribe(ctx, id)
}

// Remove stops all mail to an address: the operator's way.
func (s *Store) Remove(ctx context.Context, address string) error {
	p, err := s.byAddress(ctx, sqlc.New(s.db.SQL), address)
	if err != nil {
		return err
	}
	return s.unsubscribe(ctx, p.ID)
}

func (s *Store) unsubscribe(ctx context.Context, id string) error {
	err := s.db.Tx(ctx, func(tx *db.Tx) error {
		q := sqlc.New(tx)
		n, err := q.SetState(ctx, sqlc.SetStateParams{ID: id, State: stateUnsubscribed})
		if err != nil {
			return err
		}
		if n == 0 { // deleted since: there is nothing left to stop
			return nil
		}
		if _, err := q.DropWants(ctx, id); err != nil {
			return err
		}
		if _, err := q.DropEpisodes(ctx, id); err != nil {
			return err
		}
		_, err = q.DropQueued(ctx, sqlc.DropQueuedParams{PersonID: id, Reason: "unsubscribed"})
		return err
	})
	if err != nil {
		return fmt.Errorf("unsubscribing %s: %w", id, err)
	}
	return nil
}

// Pause sends nothing to a person until then; a zero time ends a pause.
func (s *Store) Pause(ctx context.Context, address string, until time.Time) error {
	q := sqlc.New(s.db.SQL)
	p, err := s.byAddress(ctx, q, address)
	if err != nil {
		return err
	}
	if _, err := q.SetPause(ctx, sqlc.SetPauseParams{ID: p.ID, PausedUntil: db.Micros(until)}); err != nil {
		return fmt.Errorf("pausing %s: %w", s.LogID(address), err)
	}
	return nil
}

// Managed returns the person whose manage token it is.
func (s *Store) Managed(ctx context.Context, token string) (Person, error) {
	id, err := s.Links.person(linkManage, token)
	if err != nil {
		return Person{}, err
	}
	q := sqlc.New(s.db.SQL)
	p, err := q.Person(ctx, id)
	if errors.Is(err, sql.ErrNoRows) {
		return Person{}, ErrToken
	}
	if err != nil {
		return Person{}, fmt.Errorf("reading person %s: %w", id, err)
	}
	return s.person(ctx, q, p)
}

func (s *Store) byAddress(ctx context.Context, q *sqlc.Queries, address string) (sqlc.Person, error) {
	a, err := ParseAddress(address)
	if err != nil {
		return sqlc.Person{}, err
	}
	p, err := q.PersonByAddress(ctx, fold(a))
	if errors.Is(err, sql.ErrNoRows) {
		err = db.ErrNotFound
	}
	if err != nil {
		return p, fmt.Errorf("looking for %s: %w", s.LogID(a), err)
	}
	return p, nil
}

// List returns everybody, by address.
func (s *Store) List(ctx context.Context) ([]Person, error) {
	q := sqlc.New(s.db.SQL)
	ps, err := q.People(ctx)
	if err != nil {
		return nil, fmt.Errorf("listing people: %w", err)
	}
	out := make([]Person, len(ps))
	for i, p := range ps {
		if out[i], err = s.person(ctx, q, p); err != nil {
			return nil, fmt.Errorf("listing people: %w", err)
		}
	}
	return out, nil
}

// Clean forgets tokens, with the addresses that were never confirmed, and limits
// that are past their time, and says how many of each.
func (s *Store) Clean(ctx context.Context) (map[string]int64, error) {
	q, now := sqlc.New(s.db.SQL), s.now()
	tokens, err := q.DropOldTokens(ctx, db.Micros(now.Add(-tokensKept)))
	signups, err2 := q.DropOldSignups(ctx, db.Micros(now.Add(-signupsKept)))
	if err := errors.Join(err, err2); err != nil {
		return nil, fmt.Errorf("forgetting old tokens: %w", err)
	}
	return map[string]int64{"tokens": tokens, "sign-ups": signups}, nil
}
