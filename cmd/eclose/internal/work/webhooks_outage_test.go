package work_test

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
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

// hookSecret is the secret of the receivers of these tests.
var hookSecret = []byte("invented for a test, 32 bytes ok")

// signedByStandard says what is wrong with the signature of a request, computed from the
// text of Standard Webhooks 1.0.0 and not by our own code: HMAC-SHA256 over id, timestamp
// and body with full stops between, base64, "v1," before it; a timestamp within five
// minutes of now.
func signedByStandard(h http.Header, body []byte, now time.Time) string {
	id, stamp := h.Get("webhook-id"), h.Get("webhook-timestamp")
	mac := hmac.New(sha256.New, hookSecret)
	mac.Write(slices.Concat([]byte(id), []byte("."), []byte(stamp), []byte("."), body))
	want := "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
	sec, err := strconv.ParseInt(stamp, 10, 64)
	switch {
	case id == "" || err != nil:
		return "webhook-id or webhook-timestamp is missing"
	case h.Get("webhook-signature") != want:
		return "the signature is wrong"
	case now.Sub(time.Unix(sec, 0)).Abs() > 5*time.Minute:
		return "the timestamp is old: " + now.Sub(time.Unix(sec, 0)).String()
	}
	return ""
}

// A mood is what a receiver does with a request.
type mood int32

const (
	up          mood = iota
	refusing         // nothing listens
	broken           // 500
	unavailable      // 503 with Retry-After
	dawdling         // no answer until the sender gives up
	resetting        // the connection is reset before anything was read
	halfway          // the head of an answer, then nothing
)

// moodyHook is a receiver that dedupes by webhook-id as the standard asks for.
type moodyHook struct {
	t    *testing.T
	addr string
	now  func() time.Time
	mood atomic.Int32
	lose atomic.Int64 // so many messages are taken and their first answer is lost

	server *http.Server
	mu     sync.Mutex
	asked  int
	taken  map[string][]byte // body by id
	again  map[string]int    // ids that came when they were known
	lost   map[string]bool   // ids whose answer was lost after they were taken
}

func newMoodyHook(t *testing.T, now func() time.Time) *moodyHook {
	t.Helper()
	r := &moodyHook{t: t, now: now, taken: map[string][]byte{}, again: map[string]int{}, lost: map[string]bool{}}
	r.listen("127.0.0.1:0")
	t.Cleanup(func() {
		if r.server != nil {
			r.server.Close()
		}
	})
	return r
}

func (r *moodyHook) listen(addr string) {
	r.t.Helper()
	ln, err := net.Listen("tcp", addr)
	if err != nil {
		r.t.Fatal(err)
	}
	r.addr, r.server = ln.Addr().String(), &http.Server{Handler: r}
	go r.server.Serve(ln)
}

func (r *moodyHook) be(m mood) {
	r.t.Helper()
	if was := mood(r.mood.Swap(int32(m))); (was == refusing) != (m == refusing) {
		if m == refusing {
			r.server.Close()
			r.server = nil
		} else {
			r.listen(r.addr)
		}
	}
}

// cut ends a connection with a reset.
func cut(w http.ResponseWriter, first string) {
	c, _, err := http.NewResponseController(w).Hijack()
	if err != nil {
		return
	}
	io.WriteString(c, first)
	c.(*net.TCPConn).SetLinger(0)
	c.Close()
}

func (r *moodyHook) ServeHTTP(w http.ResponseWriter, q *http.Request) {
	r.mu.Lock()
	r.asked++
	r.mu.Unlock()
	switch mood(r.mood.Load()) {
	case broken:
		w.WriteHeader(http.StatusInternalServerError)
		return
	case unavailable:
		w.Header().Set("Retry-After", "120")
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	case dawdling:
		_, _ = io.Copy(io.Discard, q.Body) // else the server does not see that the sender went away
		<-q.Context().Done()
		return
	case resetting:
		cut(w, "")
		return
	case halfway:
		cut(w, "HTTP/1.1 200 O")
		return
	case up, refusing: // nobody gets here while nothing listens
	}
	body, err := io.ReadAll(q.Body)
	if fault := signedByStandard(q.Header, body, r.now()); err != nil || fault != "" {
		r.t.Errorf("%s, %v", fault, err)
	}
	id := q.Header.Get("webhook-id")
	r.mu.Lock()
	if was, known := r.taken[id]; known {
		r.again[id]++
		if !bytes.Equal(was, body) {
			r.t.Errorf("%s came again as another message: %s, then %s", id, was, body)
		}
	}
	r.taken[id] = body
	lose := !r.lost[id] && r.lose.Add(-1) >= 0
	if lose {
		r.lost[id] = true
	}
	r.mu.Unlock()
	if lose {
		cut(w, "")
	}
}

func (r *moodyHook) count() (asked, taken int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.asked, len(r.taken)
}

// outage is a queue with two receivers and a clock that can be put forward.
type outage struct {
	t      *testing.T
	db     *db.DB
	hooks  *webhook.Store
	queue  *jobs.Queue
	passed time.Duration
	added  []webhook.Pending
}

func (o *outage) now() time.Time { return time.Now().Add(o.passed) }

func (o *outage) start() {
	o.t.Helper()
	h := &work.Service{DB: o.db, Hooks: o.hooks, Log: zerolog.Nop()}
	var err error
	o.queue, err = jobs.Open(o.t.Context(), o.db, jobs.Options{Log: zerolog.Nop(), Handlers: jobs.Handlers{Webhook: h.SendWebhook}, Workers: map[string]int{jobs.Webhooks: 32}, Pace: time.Millisecond, Poll: 50 * time.Millisecond})
	if err == nil {
		err = o.queue.Start(o.t.Context())
	}
	if err != nil {
		o.t.Fatal(err)
	}
}

func (o *outage) stop() {
	o.t.Helper()
	if err := o.queue.Stop(context.Background()); err != nil {
		o.t.Error(err)
	}
}

// tell adds messages with their jobs in one transaction, as the server does.
func (o *outage) tell(what string, n int) {
	o.t.Helper()
	err := o.db.Tx(o.t.Context(), func(tx *db.Tx) error {
		var events []webhook.Event
		for i := range n {
			events = append(events, webhook.Event{Type: webhook.WindowMoved, River: "wend", At: o.now(), About: fmt.Sprint(what, i), Data: map[string]any{"what": what, "number": i}})
		}
		pending, err := o.hooks.Add(o.t.Context(), tx, events)
		for _, p := range pending {
			if _, err := o.queue.AddTx(o.t.Context(), tx, jobs.Webhook{Hook: p.Hook, Event: p.Event, ID: p.ID}); err != nil {
				return err
			}
		}
		o.added = append(o.added, pending...)
		return err
	})
	if err != nil {
		o.t.Fatal(err)
	}
}

// waiting lists the jobs that are to be tried again, and whether none is due or under way.
func (o *outage) waiting() (all []jobs.Job, idle bool) {
	o.t.Helper()
	all, err := o.queue.List(o.t.Context(), jobs.Filter{Kinds: []string{"webhook"}, States: []string{"available", "running", "retryable", "scheduled", "pending"}, Most: 1000})
	if err != nil {
		o.t.Fatal(err)
	}
	now := o.queue.Now()
	return all, !slices.ContainsFunc(all, func(j jobs.Job) bool { return j.State == "running" || !j.Due.After(now) })
}

// pass lets the pause of all that waits go by, and returns when each was tried once more.
// River goes by the time of the machine or of the database, which no test can put forward;
// so the due times of its jobs are put back by as much as the rest of the clock goes on,
// and they are called available at once, as River does for what is due every five seconds.
func (o *outage) pass() {
	o.t.Helper()
	all, idle := o.waiting()
	if !idle || len(all) == 0 {
		o.t.Fatalf("%d jobs wait, idle %v: nothing to pass", len(all), idle)
	}
	last := slices.MaxFunc(all, func(a, b jobs.Job) int { return a.Due.Compare(b.Due) }).Due
	by := max(0, last.Sub(o.queue.Now())).Truncate(time.Millisecond) + time.Millisecond
	put := "UPDATE river_job SET state = 'available', scheduled_at = strftime('%Y-%m-%d %H:%M:%f', scheduled_at, $1) WHERE state IN ('retryable', 'available')"
	arg := fmt.Sprintf("-%.3f seconds", by.Seconds())
	if o.db.Dialect == db.Postgres {
		put, arg = "UPDATE river_job SET state = 'available', scheduled_at = scheduled_at - CAST($1 AS interval) WHERE state IN ('retryable', 'available')", fmt.Sprintf("%d milliseconds", by.Milliseconds())
	}
	if _, err := o.db.SQL.ExecContext(o.t.Context(), put, arg); err != nil {
		o.t.Fatal(err)
	}
	o.passed += by
	o.settle("trying again")
}

func (o *outage) settle(what string) {
	o.t.Helper()
	for end := time.Now().Add(90 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		all, idle := o.waiting()
		if idle {
			return
		}
		if time.Now().After(end) {
			o.t.Fatalf("%s: %d jobs still due or under way, such as %+v", what, len(all), all[0])
		}
	}
}

// A receiver is down for more than an hour in every way that there is, over a restart of
// ours; another beside it is well. The one that was down gets each message once it is
// back, under one id and with one body; what it had taken before its answer was lost it
// gets again under that id, and nothing else twice. The other is not held up.
func TestAReceiverThatIsDownForAnHourLosesNothingAndGetsNothingTwice(t *testing.T) {
	if testing.Short() {
		t.Skip("the silence of a receiver takes half a minute")
	}
	t.Parallel()
	for name, url := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLiteURL, "postgres": dbtest.PostgresURL} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o := &outage{t: t, db: dbtest.Open(t, url(t))}
			club, well := newMoodyHook(t, o.now), newMoodyHook(t, o.now)
			o.hooks = &webhook.Store{DB: o.db, Now: o.now, To: []webhook.Receiver{{Name: "club", URL: "http://" + club.addr, Secret: hookSecret}, {Name: "well", URL: "http://" + well.addr, Secret: hookSecret}}}
			o.start()
			defer func() { o.stop() }()
			messages := 0
			tell := func(what string, n int) {
				t.Helper()
				o.tell(what, n)
				messages += n
				o.settle(what)
				if _, n := well.count(); n != messages {
					t.Errorf("%s: the receiver that is well has %d of %d messages", what, n, messages)
				}
			}
			club.be(refusing)
			tell("as it goes down", 5)
			down := o.now()
			for round, m := range []mood{refusing, broken, dawdling, unavailable, resetting, halfway, refusing, broken, dawdling, resetting} {
				club.be(m)
				o.pass()
				switch round {
				case 4:
					tell("while it is down", 3)
				case 6: // a restart of ours
					o.stop()
					o.start()
				}
			}
			if lasted := o.now().Sub(down); lasted < time.Hour {
				t.Fatalf("it was down for %s only", lasted)
			}
			if _, n := club.count(); n != 0 {
				t.Fatalf("it was down and took %d", n)
			}
			club.be(up)
			club.lose.Store(3) // it takes the message and its answer is lost
			tell("as it comes back", 2)
			for rounds := 0; ; rounds++ {
				if all, _ := o.waiting(); len(all) == 0 {
					break
				}
				if rounds > 4 {
					t.Fatal("it is back and jobs still wait")
				}
				o.pass()
			}
			for _, r := range []*moodyHook{club, well} {
				if len(r.taken) != messages {
					t.Errorf("%d of %d messages came", len(r.taken), messages)
				}
			}
			for _, p := range o.added {
				if p.Hook == "club" && club.taken[p.ID] == nil || p.Hook == "well" && well.taken[p.ID] == nil {
					t.Errorf("%+v never came", p)
				}
			}
			if len(club.lost) != 3 {
				t.Errorf("%d answers were lost, want 3", len(club.lost))
			}
			for id, n := range club.again {
				if !club.lost[id] || n != 1 {
					t.Errorf("%s came again %d times, answer lost %v", id, n, club.lost[id])
				}
			}
			if len(club.again) != 3 || len(well.again) != 0 {
				t.Errorf("%d and %d came again, want the 3 whose answers were lost", len(club.again), len(well.again))
			}
			done, err := o.queue.List(t.Context(), jobs.Filter{Kinds: []string{"webhook"}, States: []string{"completed"}, Most: 1000})
			if err != nil || len(done) != 2*messages {
				t.Errorf("%d jobs are done, want %d; %v", len(done), 2*messages, err)
			}
			most := 0
			for _, j := range done {
				most = max(most, j.Attempt)
			}
			asked, _ := club.count()
			t.Logf("down for %s: %d messages, %d requests seen, at most %d attempts a message", o.now().Sub(down).Round(time.Minute), messages, asked, most)
		})
	}
}

// What is given up is given up after three days of trying and not before: the pauses
// between all attempts are added up instead of waited for.
func TestAMessageIsTriedForThreeDays(t *testing.T) {
	if testing.Short() {
		t.Skip("160 attempts take most of a minute")
	}
	t.Parallel()
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	o := &outage{t: t, db: d}
	down := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusBadGateway) }))
	defer down.Close()
	o.hooks = &webhook.Store{DB: d, Now: o.now, To: []webhook.Receiver{{Name: "club", URL: down.URL, Secret: hookSecret}}}
	o.start()
	defer func() { o.stop() }()
	o.tell("to nobody", 1)
	o.settle("the first attempt")
	attempts, tried := 1, time.Duration(0)
	for ; attempts < 400; attempts++ {
		all, _ := o.waiting()
		if len(all) == 0 {
			break
		}
		tried += all[0].Due.Sub(all[0].Began)
		// Again now; the pause was counted instead of waited for.
		if _, err := o.queue.Retry(t.Context(), all[0].ID); err != nil {
			t.Fatal(err)
		}
		o.settle("an attempt")
	}
	dead, err := o.queue.List(t.Context(), jobs.Filter{Kinds: []string{"webhook"}, States: []string{"discarded"}})
	if err != nil || len(dead) != 1 {
		t.Fatalf("%d dead letters, %v", len(dead), err)
	}
	t.Logf("given up after %d attempts and pauses of %s", attempts, tried.Round(time.Minute))
	if tried < 72*time.Hour || !strings.Contains(dead[0].Errors[len(dead[0].Errors)-1].Error, "502") {
		t.Errorf("given up after %s: %+v", tried, dead[0].Errors[len(dead[0].Errors)-1])
	}
}
