package mail

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

// What a relay says over the wire, followed through the outbox: who is tried
// again, who is not, and what stands in the log.
func TestWhatARelaySaysDecidesWhatTheOutboxDoes(t *testing.T) {
	hangUp := func(c net.Conn) error { _ = c.Close(); return errors.New("gone") }
	once := func(do func(net.Conn) error) func(net.Conn) error {
		done := false
		return func(c net.Conn) error {
			if done {
				return nil
			}
			done = true
			return do(c)
		}
	}
	for _, tc := range []struct {
		what       string
		relay      func() *relay
		level      int // of the caution that is told; 0: a window
		states     string
		log        string
		arrived    int
		suppressed string
	}{
		{"250", func() *relay { return &relay{} }, 0, "sent:1", "sent", 1, ""},
		{"450, then 250", func() *relay {
			return &relay{onRcpt: func(_ string, n int) error {
				if n == 1 {
					return smtpError(450, 4, 2, 1, "later")
				}
				return nil
			}}
		}, 0, "sent:1", "deferred sent", 1, ""},
		{"421, then 250", func() *relay {
			n := 0
			return &relay{onMail: func() error {
				if n++; n == 1 {
					return smtpError(421, 4, 3, 2, "closing")
				}
				return nil
			}}
		}, 3, "sent:1", "deferred sent", 1, ""},
		{"550 that names the reader", func() *relay {
			return &relay{onRcpt: func(to string, _ int) error {
				return smtpError(550, 5, 1, 1, "<"+strings.ToUpper(to)+">: no such mailbox")
			}}
		}, 0, "failed:1", "failed", 0, subscribe.BounceHard},
		{"hung up after DATA, then 250", func() *relay { return &relay{onData: once(hangUp)} }, 3, "sent:1", "", 1, ""},
		{"hung up after the final dot: news is not sent again", func() *relay { return &relay{onDone: once(hangUp)} }, 0, "unknown:1", "unknown", 1, ""},
		{"hung up after the final dot: level 3 is", func() *relay { return &relay{onDone: once(hangUp)} }, 3, "sent:1", "unknown deferred sent", 2, ""},
	} {
		t.Run(tc.what, func(t *testing.T) {
			ctx := t.Context()
			d, err := db.OpenMigrated(ctx, ":memory:")
			if err != nil {
				t.Fatal(err)
			}
			defer d.Close()
			clock := date
			now := func() time.Time { return clock }
			people, err := subscribe.New(ctx, d, subscribe.Names{}, now)
			if err != nil {
				t.Fatal(err)
			}
			if err := people.AddConfirmed(ctx, subscribe.Request{Address: "angler@example.net", Subscriptions: []subscribe.Subscription{{River: "wend", Cautions: true}}}); err != nil {
				t.Fatal(err)
			}
			store := alert.New(d, now, wendFile)
			if tc.level == 0 {
				err = store.AddOutlook(ctx, wendIssued)
			} else {
				for _, ago := range []time.Duration{20 * time.Minute, 5 * time.Minute} {
					r := wendReading(tc.level)
					r.At = clock.Add(-ago)
					err = errors.Join(err, store.AddReading(ctx, *r))
				}
			}
			if err != nil {
				t.Fatal(err)
			}
			r := tc.relay()
			carrier := Transport{composer(t), sender(t, serve(t, r, nil))}
			for range 8 { // two hours, quarter by quarter
				if _, err := store.Reconcile(ctx); err != nil {
					t.Fatal(err)
				}
				if _, err := store.Deliver(ctx, carrier, 1); err != nil {
					t.Fatal(err)
				}
				clock = clock.Add(15 * time.Minute)
			}
			checkOutbox(ctx, t, d, store, people, tc.states, tc.log, tc.suppressed)
			ids := map[string]bool{}
			for _, got := range r.got {
				m, _ := parse(t, got.raw)
				ids[m.Header.Get("Message-Id")] = true
			}
			if len(r.got) != tc.arrived || tc.arrived > 0 && len(ids) != 1 {
				t.Errorf("%d arrived under %d ids, want %d under one", len(r.got), len(ids), tc.arrived)
			}
		})
	}
}

func checkOutbox(ctx context.Context, t *testing.T, d *db.DB, store *alert.Store, people *subscribe.Store, states, log, suppressed string) {
	t.Helper()
	counts, err := store.Counts(ctx)
	if err != nil {
		t.Fatal(err)
	}
	state, n, _ := strings.Cut(states, ":")
	if len(counts) != 1 || counts[state] != int(n[0]-'0') {
		t.Errorf("the outbox holds %v, want %s", counts, states)
	}
	rows, err := d.SQL.QueryContext(ctx, "SELECT result, reply FROM send_log ORDER BY at, CASE result WHEN 'unknown' THEN 0 WHEN 'deferred' THEN 1 ELSE 2 END")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var results []string
	for rows.Next() {
		var result, reply string
		if err := rows.Scan(&result, &reply); err != nil {
			t.Fatal(err)
		}
		results = append(results, result)
		if strings.Contains(strings.ToLower(reply), "angler@example.net") {
			t.Errorf("the log names the reader: %q", reply)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(results, " "); log != "" && got != log {
		t.Errorf("log %q, want %q", got, log)
	}
	ps, err := people.List(ctx)
	if err != nil || len(ps) != 1 || ps[0].Suppressed != suppressed {
		t.Errorf("%+v, want suppressed %q (%v)", ps, suppressed, err)
	}
}
