package work_test

import (
	"encoding/base64"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/notify/webhook"
)

// hooksOf has the receiver that a worker process is told of.
func (k hand) hooksOf(d *db.DB, now func() time.Time) *webhook.Store {
	return &webhook.Store{DB: d, Now: now, To: []webhook.Receiver{{Name: "club", URL: k.Hook, Secret: hookSecret}}}
}

// The process is killed when the receiver has taken a message and before it could note
// it, more than once. The next process sends it again under the same id, so that a
// receiver that keeps ids takes each message once, and none is missing.
func TestAProcessKilledBetweenSendingAndNotingSendsUnderTheSameID(t *testing.T) {
	if testing.Short() {
		t.Skip("on PostgreSQL the queue looks for what the dead left behind every half minute")
	}
	t.Parallel()
	const messages = 6
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		url   func(testing.TB) string
		kills int
	}{"sqlite": {dbtest.SQLiteURL, 3}, "postgres": {dbtest.PostgresURL, 2}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var (
				mu     sync.Mutex
				taken  = map[string]string{}
				times  = map[string]int{}
				killed []string // ids that were taken and never answered
				child  *children
			)
			receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				body, err := io.ReadAll(r.Body)
				mu.Lock()
				defer mu.Unlock()
				if fault := signedByStandard(r.Header, body, time.Now()); err != nil || fault != "" {
					t.Errorf("%s, %v", fault, err)
				}
				id := r.Header.Get("webhook-id")
				if was, known := taken[id]; known && was != string(body) {
					t.Errorf("%s came again as another message", id)
				}
				taken[id] = string(body)
				times[id]++
				if len(killed) < c.kills && times[id] == 1 && len(taken)%2 == 0 {
					killed = append(killed, id)
					child.kill(0) // SIGKILL, and gone when it returns
					child.start(0)
				}
			}))
			defer receiver.Close()
			url := c.url(t)
			child = &children{t: t, exe: exe, skew: []time.Duration{0}, hand: hand{Database: url, Dir: t.TempDir(), Timeout: 5 * time.Second, Model: 1, Hook: receiver.URL}}
			defer child.killAll()
			add(t, url, child.hand, messages)
			mu.Lock()
			child.start(0)
			mu.Unlock()
			for end := time.Now().Add(3 * time.Minute); ; time.Sleep(100 * time.Millisecond) {
				mu.Lock()
				n, k := len(taken), len(killed)
				again := 0
				for _, id := range killed {
					if times[id] > 1 {
						again++
					}
				}
				mu.Unlock()
				if n == messages && k == c.kills && again == k {
					break
				}
				if time.Now().After(end) {
					t.Fatalf("%d of %d messages, %d kills, %d of them sent again", n, messages, k, again)
				}
			}
			time.Sleep(2 * time.Second) // whatever else would come twice comes now
			mu.Lock()
			defer mu.Unlock()
			child.killAll()
			for id, n := range times {
				cutOff := 0
				for _, k := range killed {
					if k == id {
						cutOff++
					}
				}
				// Others may have been under way when the process was killed: they were not
				// noted either, and a kill is all that makes a message come again.
				if n > 1+len(killed) || cutOff > 0 && n < 2 {
					t.Errorf("%s came %d times; the process was killed over it %d times", id, n, cutOff)
				}
			}
			t.Logf("%d messages, %d kills, came %v", messages, len(killed), times)
			checkNoted(t, url)
		})
	}
}

// add writes messages and their jobs, as a process that has then ended.
func add(t *testing.T, url string, k hand, n int) {
	t.Helper()
	d, err := db.OpenMigrated(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	hooks := k.hooksOf(d, time.Now)
	err = d.Tx(t.Context(), func(tx *db.Tx) error {
		var events []webhook.Event
		for i := range n {
			events = append(events, webhook.Event{Type: webhook.CautionChanged, River: "wend", At: time.Now().Add(time.Duration(i) * time.Second), Data: base64.StdEncoding.EncodeToString([]byte{byte(i)})})
		}
		pending, err := hooks.Add(t.Context(), tx, events)
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
}

// checkNoted looks that every message is noted as delivered.
func checkNoted(t *testing.T, url string) {
	t.Helper()
	d, err := db.OpenMigrated(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	var open int
	if err := d.SQL.QueryRowContext(t.Context(), "SELECT COUNT(*) FROM webhook_message WHERE delivered_at = 0").Scan(&open); err != nil || open != 0 {
		t.Errorf("%d messages are not noted as delivered, %v", open, err)
	}
}
