package webhook

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"example.org/eclose/ingest/db"
)

// A Receiver is one address that messages are sent to.
type Receiver struct {
	Name   string
	URL    string
	Secret []byte
	Rivers []string // empty: all
	Events []string // empty: all
}

func (h Receiver) wants(e Event) bool {
	return (len(h.Rivers) == 0 || slices.Contains(h.Rivers, e.River)) && (len(h.Events) == 0 || slices.Contains(h.Events, e.Type))
}

// The types of events.
const (
	ForecastIssued  = "forecast.issued"
	WindowAdded     = "window.added"
	WindowMoved     = "window.moved"
	WindowCancelled = "window.cancelled"
	CautionChanged  = "caution.changed"
)

// Types lists the types of events that a hook may ask for.
var Types = []string{ForecastIssued, WindowAdded, WindowMoved, WindowCancelled, CautionChanged}

// An Event is one message for all receivers. Its Type, River, At and About identify it: an
// event that is added twice is stored once.
type Event struct {
	Type  string
	River string
	At    time.Time
	About string // the window; empty where there is none
	Data  any    // plain data, with the caution's text
}

// id names the message about an event to a hook, in the form that Standard Webhooks
// gives as an example.
func (e Event) id(hook string) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s\x00%d\x00%s", hook, e.Type, e.River, db.Micros(e.At), e.About))
	return "msg_" + base64.RawURLEncoding.EncodeToString(sum[:18])
}

// A Pending message is one that waits to be sent.
type Pending struct{ ID, Hook, Event string }

// Store keeps messages until they are delivered.
type Store struct {
	DB     *db.DB
	To     []Receiver
	Now    func() time.Time
	Client *http.Client // nil: one that follows no redirect and waits for fifteen seconds
}

// Bounds of an attempt and of what is kept; our own.
const (
	answerWithin = 15 * time.Second
	keptFor      = 60 * 24 * time.Hour // longer than a job that failed for good is listed
)

// Any reports whether there is any receiver.
func (s *Store) Any() bool { return s != nil && len(s.To) > 0 }

// Wanted reports whether any receiver asks for a type of event.
func (s *Store) Wanted(kind string) bool {
	return s != nil && slices.ContainsFunc(s.To, func(h Receiver) bool { return len(h.Events) == 0 || slices.Contains(h.Events, kind) })
}

// Add writes the messages of some events in a transaction, one for each receiver that wants
// one, and returns them for the jobs that send them.
func (s *Store) Add(ctx context.Context, q db.Querier, events []Event) (out []Pending, err error) {
	for _, e := range events {
		body, err := json.Marshal(map[string]any{"type": e.Type, "timestamp": e.At.UTC().Format(time.RFC3339), "data": e.Data})
		if err != nil {
			return nil, fmt.Errorf("writing a webhook's message: %w", err)
		}
		for _, h := range s.To {
			if !h.wants(e) {
				continue
			}
			p := Pending{ID: e.id(h.Name), Hook: h.Name, Event: e.Type}
			r, err := q.ExecContext(ctx, "INSERT INTO webhook_message (id, hook, body, made_at, delivered_at) VALUES ($1, $2, $3, $4, 0) ON CONFLICT (id) DO NOTHING", p.ID, p.Hook, string(body), db.Micros(s.Now()))
			if err != nil {
				return nil, fmt.Errorf("keeping a webhook's message: %w", err)
			}
			if n, err := r.RowsAffected(); err == nil && n > 0 {
				out = append(out, p)
			}
		}
	}
	return out, nil
}

// ErrGone is wrapped where a message can never be delivered: its hook is not configured
// any more, its receiver wants no more, or nobody keeps it.
var ErrGone = errors.New("the webhook's message cannot be delivered")

// Send hands a message over, if that was not done before. A receiver that got it and
// could not say so gets it again under the same webhook-id.
func (s *Store) Send(ctx context.Context, id string) error {
	var name, body string
	var delivered int64
	switch err := s.DB.SQL.QueryRowContext(ctx, "SELECT hook, body, delivered_at FROM webhook_message WHERE id = $1", id).Scan(&name, &body, &delivered); {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("%w: it is not kept any more", ErrGone)
	case err != nil:
		return fmt.Errorf("reading a webhook's message: %w", err)
	case delivered != 0:
		return nil
	}
	i := slices.IndexFunc(s.To, func(h Receiver) bool { return h.Name == name })
	if i < 0 {
		return fmt.Errorf("%w: no webhook is called %q any more", ErrGone, name)
	}
	if err := s.post(ctx, s.To[i], id, []byte(body)); err != nil {
		return err
	}
	return s.DB.Tx(ctx, func(tx *db.Tx) error {
		if _, err := tx.ExecContext(ctx, "UPDATE webhook_message SET delivered_at = $1 WHERE id = $2", db.Micros(s.Now()), id); err != nil {
			return fmt.Errorf("recording that a webhook's message was delivered: %w", err)
		}
		return nil
	})
}

func (s *Store) post(ctx context.Context, h Receiver, id string, body []byte) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, h.URL, bytes.NewReader(body))
	if err != nil {
		return fmt.Errorf("webhook %s: %w", h.Name, err)
	}
	at := s.Now()
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "eclose")
	r.Header["webhook-id"] = []string{id} // in lower case, as the specification writes them
	r.Header["webhook-timestamp"] = []string{strconv.FormatInt(at.Unix(), 10)}
	r.Header["webhook-signature"] = []string{sign(h.Secret, id, at, body)}
	client := s.Client
	if client == nil {
		client = &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	}
	res, err := client.Do(r)
	if fault := (*url.Error)(nil); errors.As(err, &fault) {
		err = fault.Err // without the address, which may hold a key of the receiver's
	}
	if err != nil {
		return fmt.Errorf("webhook %s: no answer: %w", h.Name, err)
	}
	defer res.Body.Close()                                       //nolint:errcheck // it was only read
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, 64<<10)) // so that the connection serves again
	switch {
	case res.StatusCode == http.StatusGone:
		return fmt.Errorf("%w: webhook %s answers 410 Gone: its receiver wants no more", ErrGone, h.Name)
	case res.StatusCode < 200 || res.StatusCode > 299:
		return fmt.Errorf("webhook %s answers %s", h.Name, res.Status)
	}
	return nil
}

// Clean forgets messages that are old, delivered or not, and says how many.
func (s *Store) Clean(ctx context.Context) (map[string]int64, error) {
	var n int64
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		r, err := tx.ExecContext(ctx, "DELETE FROM webhook_message WHERE made_at < $1", db.Micros(s.Now().Add(-keptFor)))
		if err == nil {
			n, err = r.RowsAffected()
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("forgetting old webhook messages: %w", err)
	}
	return map[string]int64{"webhook messages": n}, nil
}

// CautionNews records the caution of a river as published, and returns whether it differs in
// level, or in being known, from the last one.
func CautionNews(ctx context.Context, q db.Querier, river string, level int, known bool, at time.Time) (bool, error) {
	is := 0
	if known {
		is = 1
	}
	var oldLevel, oldKnown int
	err := q.QueryRowContext(ctx, "SELECT level, known FROM published_caution WHERE river = $1", river).Scan(&oldLevel, &oldKnown)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return false, fmt.Errorf("reading the published caution of %s: %w", river, err)
	}
	if err == nil && oldLevel == level && oldKnown == is {
		return false, nil
	}
	if _, err := q.ExecContext(ctx, "INSERT INTO published_caution (river, level, known, published_at) VALUES ($1, $2, $3, $4) ON CONFLICT (river) DO UPDATE SET level = excluded.level, known = excluded.known, published_at = excluded.published_at",
		river, level, is, db.Micros(at)); err != nil {
		return false, fmt.Errorf("recording the published caution of %s: %w", river, err)
	}
	return true, nil
}
