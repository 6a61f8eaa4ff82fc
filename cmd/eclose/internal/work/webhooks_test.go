package work_test

import (
	"context"
	"encoding/base64"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/notify/webhook"
)

// receiver is a receiver as the specification asks for: it verifies, and takes each
// webhook-id once.
type receiver struct {
	t      *testing.T
	secret []byte
	now    func() time.Time
	down   atomic.Bool
	mute   atomic.Int64 // so many answers are lost after the message was taken

	mu    sync.Mutex
	asked int
	taken map[string]int // how often each id came
}

func (r *receiver) ServeHTTP(w http.ResponseWriter, q *http.Request) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.asked++
	if r.down.Load() {
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	body, _ := io.ReadAll(q.Body)
	id := q.Header.Get("webhook-id")
	sec, err := strconv.ParseInt(q.Header.Get("webhook-timestamp"), 10, 64)
	if err != nil || q.Header.Get("webhook-signature") != webhook.Sign(r.secret, id, time.Unix(sec, 0), body) || r.now().Sub(time.Unix(sec, 0)).Abs() > 5*time.Minute {
		r.t.Errorf("%s: the signature is wrong or old: %v", id, q.Header)
	}
	r.taken[id]++
	if r.mute.Add(-1) >= 0 {
		panic(http.ErrAbortHandler) // the answer is lost
	}
}

func (r *receiver) count() (asked, ids int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.asked, len(r.taken)
}

// A receiver that is down while messages are tried again, and over a restart of ours,
// gets every message once it is back; by their ids none is new twice, even where its
// answer was lost. The queue's own time cannot be made to run faster, so that the outage
// is of seconds; that jobs are tried for three days is told by their number of attempts.
func TestAReceiverThatWasDownLosesNothingAndGetsNothingTwice(t *testing.T) {
	if testing.Short() {
		t.Skip("the queue looks for work that is due again every five seconds")
	}
	const messages = 12
	now := time.Now
	secret := []byte("invented for a test, 32 bytes ok")
	r := &receiver{t: t, secret: secret, now: now, taken: map[string]int{}}
	r.down.Store(true)
	server := httptest.NewServer(r)
	defer server.Close()
	server.Config.ErrorLog = nil
	if _, err := webhook.ParseSecret("whsec_" + base64.StdEncoding.EncodeToString(secret)); err != nil {
		t.Fatal(err)
	}
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	h := &work.Service{DB: d, Hooks: &webhook.Store{DB: d, Now: now, To: []webhook.Receiver{{Name: "club", URL: server.URL, Secret: secret}}}, Log: zerolog.Nop()}
	var q *jobs.Queue
	start := func() (stop func()) {
		t.Helper()
		var err error
		q, err = jobs.Open(t.Context(), d, jobs.Options{Now: now, Log: zerolog.Nop(), Handlers: jobs.Handlers{Webhook: h.SendWebhook}, Workers: map[string]int{jobs.Webhooks: 4}, Pace: time.Millisecond, Poll: 20 * time.Millisecond})
		if err == nil {
			err = q.Start(t.Context())
		}
		if err != nil {
			t.Fatal(err)
		}
		return func() {
			if err := q.Stop(context.Background()); err != nil {
				t.Error(err)
			}
		}
	}
	stop := start()
	err := d.Tx(t.Context(), func(tx *db.Tx) error {
		var events []webhook.Event
		for i := range messages {
			events = append(events, webhook.Event{Type: webhook.WindowMoved, River: "wend", At: now(), About: strconv.Itoa(i), Data: i})
		}
		pending, err := h.Hooks.Add(t.Context(), tx, events)
		for _, p := range pending {
			if _, err := q.AddTx(t.Context(), tx, jobs.Webhook{Hook: p.Hook, Event: p.Event, ID: p.ID}); err != nil {
				return err
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	until := func(what string, ok func() bool) {
		t.Helper()
		for end := time.Now().Add(90 * time.Second); !ok(); time.Sleep(20 * time.Millisecond) {
			if time.Now().After(end) {
				asked, ids := r.count()
				waiting, err := q.List(context.Background(), jobs.Filter{Kinds: []string{"webhook"}, States: []string{"retryable", "available", "scheduled", "running"}, Most: 3})
				t.Fatalf("%s: asked %d times, %d ids taken; now %s, waiting %+v, %v", what, asked, ids, q.Now(), waiting, err)
			}
		}
	}
	until("while it is down", func() bool { asked, _ := r.count(); return asked >= 2*messages })
	stop()
	stop = start()
	defer func() { stop() }()
	r.mute.Store(2)
	r.down.Store(false)
	until("once it is back", func() bool { _, ids := r.count(); return ids == messages })
	states := func() map[string]int {
		list, err := q.List(t.Context(), jobs.Filter{Kinds: []string{"webhook"}, Most: 100})
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]int{}
		for _, j := range list {
			out[j.State]++
		}
		return out
	}
	until("all jobs done", func() bool { return states()["completed"] == messages })
	twice := 0
	for id, n := range r.taken {
		if n > 2 {
			t.Errorf("%s came %d times", id, n)
		}
		twice += n - 1
	}
	if twice != 2 {
		t.Errorf("%d came again, want the 2 whose answers were lost", twice)
	}
}

// A receiver that wants no more, and one that is no longer configured, end on the list
// of dead letters.
func TestWhatCannotBeDeliveredIsOnTheListOfDeadLetters(t *testing.T) {
	gone := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusGone) }))
	defer gone.Close()
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	h := &work.Service{DB: d, Hooks: &webhook.Store{DB: d, Now: time.Now, To: []webhook.Receiver{{Name: "club", URL: gone.URL, Secret: []byte("x")}}}, Log: zerolog.Nop()}
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop(), Handlers: jobs.Handlers{Webhook: h.SendWebhook}, Workers: map[string]int{jobs.Webhooks: 1}, Pace: time.Millisecond, Poll: 20 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	if err := q.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	defer q.Stop(context.Background())
	err = d.Tx(t.Context(), func(tx *db.Tx) error {
		p, err := h.Hooks.Add(t.Context(), tx, []webhook.Event{{Type: webhook.WindowMoved, River: "wend", At: time.Now()}})
		if err == nil {
			_, err = q.AddTx(t.Context(), tx, jobs.Webhook{Hook: p[0].Hook, Event: p[0].Event, ID: p[0].ID}, jobs.Webhook{Hook: "removed", Event: webhook.WindowMoved, ID: "msg_none"})
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		list, err := q.List(t.Context(), jobs.Filter{Kinds: []string{"webhook"}, States: []string{"discarded", "cancelled"}, Most: 10})
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 2 {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d dead letters", len(list))
		}
	}
}
