package alert

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"sync"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/notify/alert/internal/sqlc"
	"example.org/eclose/notify/subscribe"
)

var start = time.Date(2026, 6, 6, 12, 0, 0, 0, time.UTC)

var errKilled = errors.New("killed")

// killer lets so many statements through and none after: what was not committed
// is then lost, as when the process is killed.
type killer struct {
	mu   sync.Mutex
	left int // below 0: no end
}

func (k *killer) dead() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.left > 0 {
		k.left--
	}
	return k.left == 0
}

type mortal struct {
	db.Querier
	k *killer
}

func (m mortal) ExecContext(ctx context.Context, q string, a ...any) (sql.Result, error) {
	if m.k.dead() {
		return nil, errKilled
	}
	return m.Querier.ExecContext(ctx, q, a...)
}

func (m mortal) QueryContext(ctx context.Context, q string, a ...any) (*sql.Rows, error) {
	if m.k.dead() {
		return nil, errKilled
	}
	return m.Querier.QueryContext(ctx, q, a...)
}

func (m mortal) QueryRowContext(ctx context.Context, q string, a ...any) *sql.Row {
	if m.k.dead() {
		c, cancel := context.WithCancelCause(ctx)
		cancel(errKilled)
		return m.Querier.QueryRowContext(c, q, a...)
	}
	return m.Querier.QueryRowContext(ctx, q, a...)
}

// world is rivers, readers, a relay with moods, and what really arrived.
type world struct {
	t      *testing.T
	rng    *rand.Rand
	d      *db.DB
	s      *Store
	people *subscribe.Store
	clock  time.Time
	k      *killer
	moods  bool
	files  issuedFiles

	mu       sync.Mutex
	arrived  map[string]int  // mails by key
	doubt    map[string]bool // an answer was lost, or the process was killed after the text
	counted  map[string]bool // mails that count as told
	told     map[string]int  // level told by person and river
	maybe    map[string]int  // likewise, of a mail that got as far as its text
	raw      map[string]int
	sent3    int
	clears   int
	good     int
	kills    int
	outlooks int
}

func newWorld(t *testing.T, d *db.DB, seed uint64) *world {
	w := &world{
		t: t, rng: rand.New(rand.NewPCG(seed, 7)), d: d, clock: start, k: &killer{left: -1}, moods: true,
		arrived: map[string]int{}, doubt: map[string]bool{}, counted: map[string]bool{}, told: map[string]int{}, maybe: map[string]int{}, raw: map[string]int{},
	}
	var err error
	if w.people, err = subscribe.New(t.Context(), d, subscribe.Names{}, w.now); err != nil {
		t.Fatal(err)
	}
	w.restart()
	return w
}

func (w *world) now() time.Time { return w.clock }

func (w *world) restart() {
	w.k.left = -1
	w.s = New(w.d, w.now, w.files.find)
	w.s.wrap = func(q db.Querier) db.Querier { return mortal{q, w.k} }
	if err := w.s.Recover(w.t.Context(), true); err != nil {
		w.t.Fatal(err)
	}
}

// do runs a step; a kill in it is followed by a restart.
func (w *world) do(what string, step func(context.Context) error) {
	w.t.Helper()
	err := step(w.t.Context())
	switch {
	case w.k.left == 0:
		w.kills++
		w.restart()
	case err != nil && !errors.Is(err, errRelay):
		w.t.Fatalf("%s: %v", what, err)
	}
}

// Send is the relay in one of its moods.
func (w *world) Send(_ context.Context, l Email, begin func() error) Outcome {
	w.mu.Lock()
	mood := w.rng.IntN(100)
	w.mu.Unlock()
	if !w.moods {
		mood = 99
	}
	if mood < 8 {
		return Outcome{Result: Deferred, Code: 421, Reply: "busy"}
	}
	if mood < 10 {
		return Outcome{Result: SenderRejected, Code: 535, Enhanced: "5.7.8"}
	}
	if err := begin(); err != nil {
		return Outcome{Result: Deferred, Reply: err.Error()}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	// Whatever the relay now says, a kill may keep us from noting it.
	maybe := map[string]int{}
	for _, it := range l.Items {
		if caution(it.Kind) && it.Kind != KindNoData {
			maybe[it.River] = w.maybe[l.Person+it.River]
			w.maybe[l.Person+it.River] = it.Level
		}
	}
	switch {
	case mood < 15:
		return Outcome{Result: Deferred, Code: 450, Enhanced: "4.2.1"}
	case mood < 18: // said, and the log knows that it was refused
		return Outcome{Result: Refused, Code: 550, Enhanced: "5.0.0", Reply: "no"}
	case mood < 22: // lost before the relay took it
		w.doubt[l.Key] = true
		w.count(l)
		return Outcome{Result: Unknown}
	case mood < 26: // lost after
		w.doubt[l.Key] = true
		w.arrive(l, maybe) //nolint:contextcheck // the test's own
		return Outcome{Result: Unknown}
	}
	w.arrive(l, maybe) //nolint:contextcheck // likewise
	return Outcome{Result: Sent, Code: 250}
}

func (w *world) arrive(l Email, maybe map[string]int) {
	w.arrived[l.Key]++
	if w.arrived[l.Key] > 1 && (!w.doubt[l.Key] || l.Level < 3) {
		w.t.Errorf("%s (level %d) arrived %d times, in doubt: %t", l.Key, l.Level, w.arrived[l.Key], w.doubt[l.Key])
	}
	if l.Expires.Before(w.clock) {
		w.t.Errorf("%s arrived after its time", l.Key)
	}
	if len(l.Items) == 0 {
		w.t.Errorf("%s says nothing", l.Key)
	}
	for _, it := range l.Items {
		if Good(it.Kind) {
			w.good++
			f, _, err := flowOf(w.t.Context(), w.s.peek(), it.River)
			if err != nil || w.raw[it.River] >= 2 || f.Level >= 2 {
				w.t.Errorf("good news of %s left at caution %d, last reading %d (%v)", it.River, f.Level, w.raw[it.River], err)
			}
		}
		if !w.counted[l.Key] && (it.Kind == KindFall || it.Kind == KindClear) {
			w.clears++
			if max(w.told[l.Person+it.River], maybe[it.River]) <= it.Level {
				w.dump(l.Person)
				w.t.Errorf("%s: %s to %d told, but the reader knows of %d", it.River, it.Kind, it.Level, w.told[l.Person+it.River])
			}
		}
	}
	w.count(l)
}

func (w *world) count(l Email) {
	w.counted[l.Key] = true
	for _, it := range l.Items {
		if caution(it.Kind) && it.Kind != KindNoData {
			w.told[l.Person+it.River] = it.Level
			if it.Level == 3 {
				w.sent3++
			}
		}
	}
}

// step lets something happen.
func (w *world) step() {
	if w.rng.IntN(4) == 0 {
		w.k.left = 1 + w.rng.IntN(60)
	}
	river := []string{"wend", "garrow"}[w.rng.IntN(2)]
	switch n := w.rng.IntN(20); {
	case n < 9:
		level := w.raw[river]
		if w.rng.IntN(4) == 0 {
			level = w.rng.IntN(4)
		}
		known := w.rng.IntN(12) > 0
		r := Reading{River: river, RiverName: river, Zone: "Europe/London", At: w.clock.Add(-10 * time.Minute), Level: level, Known: known, Hold: min(3, level+w.rng.IntN(2)*w.rng.IntN(2))}
		w.do("reading", func(ctx context.Context) error {
			err := w.s.AddReading(ctx, r)
			if err == nil && known {
				w.raw[river] = level
			}
			return err
		})
	case n < 12:
		w.outlooks++
		o := w.outlook(river)
		w.do("outlook", func(ctx context.Context) error { return w.s.AddOutlook(ctx, w.files.add(o)) })
	}
	w.do("tick", w.s.Tick)
	w.do("tell", func(ctx context.Context) error { _, err := w.s.Reconcile(ctx); return err })
	w.do("deliver", func(ctx context.Context) error {
		_, err := w.s.Deliver(ctx, w, 2)
		if w.k.left == 0 { // whatever was under way is in doubt
			w.mu.Lock()
			for k := range w.arrived {
				w.doubt[k] = true
			}
			w.mu.Unlock()
		}
		return err
	})
	w.k.left = -1
	w.clock = w.clock.Add(time.Duration(10+w.rng.IntN(80)) * time.Minute)
}

func (w *world) outlook(river string) Outlook {
	o := Outlook{River: river, RiverName: river, Zone: "Europe/London", Issued: w.clock}
	for _, g := range []string{"blue-winged-olive", "caddis"} {
		at := w.clock.AddDate(0, 0, w.rng.IntN(20)-4)
		st := Stage{Group: g, Name: g, Stage: "emergence", Fishable: true, From: at.Format(time.DateOnly), Peak: at.AddDate(0, 0, 4).Format(time.DateOnly), To: at.AddDate(0, 0, 9).Format(time.DateOnly)}
		p := w.rng.Float64()
		st.Days = evenDays(w.clock, 30, p)
		o.Stages = append(o.Stages, st)
	}
	return o
}

func (w *world) audience(n int) {
	var rs []subscribe.Request
	for i := range n {
		r := subscribe.Request{Address: fmt.Sprintf("angler-%d@example.net", i), Zone: []string{"Europe/London", "America/Denver"}[i%2]}
		if i%3 == 0 {
			r.QuietFrom, r.QuietTo, r.WakeFor3 = 22*60, 7*60, i%2 == 0
		}
		for _, river := range []string{"wend", "garrow"} {
			r.Subscriptions = append(r.Subscriptions, subscribe.Subscription{River: river, Cautions: i%4 != 3, Cadence: []string{"now", "digest"}[i%2]})
		}
		rs = append(rs, r)
	}
	if err := w.people.AddConfirmed(w.t.Context(), rs...); err != nil {
		w.t.Fatal(err)
	}
}

// settle lets the relay be well and time pass until nothing is left to send.
func (w *world) settle() {
	w.moods, w.k.left = false, -1
	for range 60 {
		w.do("tell", func(ctx context.Context) error { _, err := w.s.Reconcile(ctx); return err })
		w.do("deliver", func(ctx context.Context) error { _, err := w.s.Deliver(ctx, w, 2); return err })
		w.clock = w.clock.Add(time.Hour)
		if w.clock.Hour()%3 == 0 { // keep both rivers in sight, at their level
			for river, level := range w.raw {
				r := Reading{River: river, RiverName: river, Zone: "Europe/London", At: w.clock, Level: level, Known: true, Hold: level}
				w.do("reading", func(ctx context.Context) error { return w.s.AddReading(ctx, r) })
			}
		}
	}
}

// check holds the books against what arrived.
func (w *world) check() {
	rs, err := w.d.SQL.QueryContext(w.t.Context(), "SELECT dedupe_key, person_id, level, state, not_before FROM outbox")
	if err != nil {
		w.t.Fatal(err)
	}
	defer rs.Close()
	type mail struct {
		key, person, state string
		level              int
		notBefore          int64
	}
	var mails []mail
	for rs.Next() {
		var m mail
		if err := rs.Scan(&m.key, &m.person, &m.level, &m.state, &m.notBefore); err != nil {
			w.t.Fatal(err)
		}
		mails = append(mails, m)
	}
	if err := rs.Err(); err != nil {
		w.t.Fatal(err)
	}
	inDoubt := map[string]bool{} // people of whom a mail was refused or lost
	for _, m := range mails {
		inDoubt[m.person] = inDoubt[m.person] || m.state == mailFailed || m.state == mailUnknown
		log, err := w.s.peek().LogOf(w.t.Context(), m.key)
		if err != nil {
			w.t.Fatal(err)
		}
		logged := map[string]bool{}
		for _, l := range log {
			logged[l.Result] = true
		}
		final := m.state != mailQueued && m.state != mailLeased && m.state != mailSending
		switch {
		case final && !logged[m.state]:
			w.t.Errorf("%s (level %d) is %s, but its log says %v", m.key, m.level, m.state, logged)
		case !final && m.level == 3 && w.clock.Sub(db.Time(m.notBefore)) > 2*time.Hour:
			w.t.Errorf("%s of level 3 is still %s after days", m.key, m.state)
		case m.state == mailSent && w.arrived[m.key] == 0:
			w.t.Errorf("%s counts as sent and never arrived", m.key)
		case w.arrived[m.key] > 0 && !logged[mailSent] && !logged[mailUnknown] && !logged[mailExpired]:
			w.t.Errorf("%s arrived and the log does not know: %v", m.key, logged)
		}
	}
	// After all has settled, readers were told of the level that stands.
	for river, level := range w.raw {
		f, _, err := flowOf(w.t.Context(), w.s.peek(), river)
		if err != nil || f.Level != level {
			w.t.Errorf("%s stands at %d after days of readings of %d (%v)", river, f.Level, level, err)
		}
		ps, err := w.people.List(w.t.Context())
		if err != nil {
			w.t.Fatal(err)
		}
		for _, p := range ps {
			if p.Subscriptions[0].Cautions && f.Level >= notifyFrom && w.told[p.ID+river] != f.Level && !inDoubt[p.ID] {
				w.dump(p.ID)
				w.t.Errorf("%s stands at %d, %s was told %d", river, f.Level, p.Address, w.told[p.ID+river])
			}
		}
	}
}

// dump shows a reader's mails, for whoever looks into a failure.
func (w *world) dump(person string) {
	q := w.s.peek()
	mails, err := q.OutboxOf(w.t.Context(), person)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, m := range mails {
		w.t.Logf("%.8s %s level %d %s, made %s, due %s, expires %s, tried %d, arrived %d\n\t%s", m.DedupeKey, m.Kind, m.Level, m.State, db.Time(m.CreatedAt).Format("02 15:04"),
			db.Time(m.NotBefore).Format("02 15:04"), db.Time(m.ExpiresAt).Format("02 15:04"), m.Attempts, w.arrived[m.DedupeKey], m.Body)
	}
	ledger, err := q.Ledger(w.t.Context(), sqlc.LedgerParams{River: "garrow", Until: "~"})
	w.t.Logf("now %s, ledger %+v %v", w.clock.Format("02 15:04"), ledger, err)
}

func TestWhateverIsKilledEachMailLeavesOnceAndNothingIsLost(t *testing.T) {
	seeds := 25
	if os.Getenv("ECLOSE_LONG") == "1" {
		seeds = 2000
	}
	var all world
	first := 0
	if n, err := strconv.Atoi(os.Getenv("ECLOSE_SEED")); err == nil {
		first, seeds = n, n+1
	}
	for seed := first; seed < seeds; seed++ {
		d, err := db.OpenMigrated(t.Context(), ":memory:")
		if err != nil {
			t.Fatal(err)
		}
		w := newWorld(t, d, uint64(seed))
		w.audience(5)
		for range 80 {
			w.step()
		}
		w.settle()
		w.check()
		if err := d.Close(); err != nil {
			t.Fatal(err)
		}
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
		all.sent3, all.clears, all.good, all.kills = all.sent3+w.sent3, all.clears+w.clears, all.good+w.good, all.kills+w.kills
	}
	if seeds-first == 1 {
		return
	}
	t.Logf("%d seeds: %d kills, %d items of level 3, %d of a fall, %d of good news", seeds, all.kills, all.sent3, all.clears, all.good)
	if all.sent3 < 50 || all.clears < 20 || all.good < 50 || all.kills < 100 {
		t.Error("the rules were hardly tried")
	}
}

func TestTheSameHoldsOnPostgreSQL(t *testing.T) {
	d := dbtest.Open(t, dbtest.PostgresURL(t))
	w := newWorld(t, d, 99)
	w.audience(4)
	for range 30 {
		w.step()
	}
	w.settle()
	w.check()
}
