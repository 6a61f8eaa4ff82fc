package work_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/notify/webhook"
)

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
