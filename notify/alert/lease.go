package alert

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert/internal/sqlc"
	"example.org/eclose/notify/subscribe"
)

// States of a mail. A mail is sent at most once but for one case: see Lost.
const (
	mailQueued  = "queued"
	mailLeased  = "leased"  // somebody holds it and has not begun
	mailSending = "sending" // its text may be under way
	mailSent    = "sent"
	mailFailed  = "failed"
	mailExpired = "expired"
	mailDropped = "dropped" // overtaken, or not wanted any more
	mailUnknown = "unknown" // the answer was lost after all was said
)

// resultDeferred is in the log only: the mail is queued again.
const resultDeferred = "deferred"

const leaseFor = 15 * time.Minute // longer than the longest SMTP wait after the last dot

// Lease assigns up to many due emails to owner, the worst first. Each is compared
// once more with the present state of the river, and its facts are put in. An email
// that is overtaken is dropped, and the ledger then says that it was not sent.
func (s *Store) Lease(ctx context.Context, owner string, many int) ([]Email, error) {
	var out []Email
	err := s.tx(ctx, func(q *sqlc.Queries, _ db.Querier) error {
		out = nil
		now := s.now()
		if err := s.expire(ctx, q, now); err != nil {
			return err
		}
		l := &leasing{s: s, q: q, now: now, owner: owner, flows: map[string]*Flow{}}
		for level := int64(3); level >= 0 && len(out) < many; level-- {
			due, err := q.Due(ctx, sqlc.DueParams{Level: level, Now: db.Micros(now), Many: int32(many - len(out))})
			if err != nil {
				return err
			}
			for _, m := range due {
				email, err := l.take(ctx, m)
				if err != nil {
					return err
				}
				if email != nil {
					out = append(out, *email)
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("taking mails from the outbox: %w", err)
	}
	return out, nil
}

// expire closes what is past its time.
func (s *Store) expire(ctx context.Context, q *sqlc.Queries, now time.Time) error {
	old, err := q.Expired(ctx, sqlc.ExpiredParams{Now: db.Micros(now), Many: batch})
	if err != nil {
		return err
	}
	for _, m := range old {
		if err := s.close(ctx, q, m, mailExpired, "expired", now); err != nil {
			return err
		}
	}
	return nil
}

// close ends a mail that was not sent and takes back what the ledger said.
func (s *Store) close(ctx context.Context, q *sqlc.Queries, m sqlc.Outbox, state, why string, now time.Time) error {
	items, err := itemsOf(m)
	if err != nil {
		return err
	}
	doubt, err := inDoubt(ctx, q, m)
	if err != nil {
		return err
	}
	if doubt { // it may have arrived: what the ledger says stands
		return s.end(ctx, q, m, mailUnknown, 0, now, Outcome{Reply: why + ", delivery uncertain"})
	}
	if err := s.end(ctx, q, m, state, 0, now, Outcome{Reply: why}); err != nil {
		return err
	}
	for _, it := range items {
		if err := takeBack(ctx, q, m, it); err != nil {
			return err
		}
	}
	return nil
}

// inDoubt says whether an answer was lost in an earlier attempt at a mail of
// level 3; others are not tried again then.
func inDoubt(ctx context.Context, q *sqlc.Queries, m sqlc.Outbox) (bool, error) {
	if m.Level < 3 || m.Attempts == 0 {
		return false, nil
	}
	log, err := q.LogOf(ctx, m.DedupeKey)
	return slices.ContainsFunc(log, func(r sqlc.SendLog) bool { return r.Result == mailUnknown }), err
}

// end sets a mail's state and writes the log row, in the same transaction.
func (s *Store) end(ctx context.Context, q *sqlc.Queries, m sqlc.Outbox, state string, notBefore int64, now time.Time, o Outcome) error {
	next := state
	if state == resultDeferred {
		next = mailQueued
	}
	n, err := q.End(ctx, sqlc.EndParams{
		DedupeKey: m.DedupeKey, Was: m.State, State: next, NotBefore: notBefore, Code: int64(o.Code), Reply: short(o.Reply),
	})
	if err != nil || n == 0 { // somebody else was first
		return err
	}
	return addLog(ctx, q, m, state, now, o)
}

func addLog(ctx context.Context, q *sqlc.Queries, m sqlc.Outbox, result string, now time.Time, o Outcome) error {
	return q.AddLog(ctx, sqlc.AddLogParams{
		ID: hash("log", m.DedupeKey, m.Attempts, result), DedupeKey: m.DedupeKey, PersonID: m.PersonID, Kind: m.Kind, Level: m.Level,
		Result: result, At: db.Micros(now), Code: int64(o.Code), Enhanced: o.Enhanced, Reply: short(o.Reply),
	})
}

func short(s string) string {
	const most = 300
	s = strings.ToValidUTF8(strings.Map(func(r rune) rune {
		if r == 0 {
			return -1
		}
		return r
	}, s), "")
	if len(s) > most {
		s = strings.ToValidUTF8(s[:most], "")
	}
	return s
}

func itemsOf(m sqlc.Outbox) ([]Item, error) {
	var stored []struct {
		Item
		Told string `json:"told"` // KnownWarnings in an outbox of before version 0.1
	}
	if err := json.Unmarshal([]byte(m.Body), &stored); err != nil {
		return nil, fmt.Errorf("reading the mail %s: %w", m.DedupeKey, err)
	}
	items := make([]Item, len(stored))
	for i, x := range stored {
		items[i] = x.Item
		items[i].KnownWarnings = cmp.Or(x.KnownWarnings, x.Told)
	}
	return items, nil
}

func bodyOf(items []Item) (string, error) {
	b, err := json.Marshal(items)
	return string(b), err
}

// takeBack makes the ledger say again what it said before an item, and has the
// river looked at again. Where a later mail stands in the ledger already, that
// one decides.
func takeBack(ctx context.Context, q *sqlc.Queries, m sqlc.Outbox, it Item) error {
	e, err := q.LedgerRow(ctx, sqlc.LedgerRowParams{River: it.River, PersonID: m.PersonID, Rule: it.Rule})
	if errors.Is(err, sql.ErrNoRows) || err == nil && e.Mail != m.DedupeKey {
		return nil
	}
	if err != nil {
		return err
	}
	e.Mail, e.SentAt, e.State, e.News = it.After, it.Since, "", ""
	switch {
	case it.Rule == ruleNoData:
	case it.Rule == ruleWarnings:
		e.News = it.KnownWarnings
	case caution(it.Kind):
		if e.SentLevel = 0; it.Was >= notifyFrom {
			e.SentLevel, e.State = int64(it.Was), stateOpen
		}
	default:
		e.SentFrom, e.SentTo, e.Streak = it.WasFrom, it.WasTo, 0
		if it.Kind != KindOpen && it.Kind != KindGauge {
			e.State = stateOpen
		}
	}
	if err := q.PutLedger(ctx, sqlc.PutLedgerParams(e)); err != nil {
		return err
	}
	_, err = q.TouchRiver(ctx, it.River)
	return err
}

// leasing weighs mails against how their rivers are now.
type leasing struct {
	s     *Store
	q     *sqlc.Queries
	now   time.Time
	owner string
	flows map[string]*Flow
}

func (l *leasing) flow(ctx context.Context, river string) (*Flow, error) {
	if f := l.flows[river]; f != nil {
		return f, nil
	}
	f, _, err := flowOf(ctx, l.q, river)
	if err == nil {
		l.flows[river] = &f
	}
	return &f, err
}

func (l *leasing) take(ctx context.Context, m sqlc.Outbox) (*Email, error) {
	person, err := l.q.Reader(ctx, m.PersonID)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, l.s.close(ctx, l.q, m, mailDropped, "subscriber deleted", l.now)
	case err != nil:
		return nil, err
	case person.State != "active":
		return nil, l.s.close(ctx, l.q, m, mailDropped, "unsubscribed", l.now)
	case person.Suppressed != "":
		return nil, l.s.close(ctx, l.q, m, mailDropped, "suppressed: "+person.Suppressed, l.now)
	case person.PausedUntil > db.Micros(l.now):
		return nil, l.s.close(ctx, l.q, m, mailDropped, "paused", l.now)
	}
	items, err := itemsOf(m)
	if err != nil {
		return nil, err
	}
	doubt, err := inDoubt(ctx, l.q, m)
	if err != nil {
		return nil, err
	}
	var keep []Item
	for i, it := range items {
		why, err := l.overtaken(ctx, it)
		if err != nil {
			return nil, err
		}
		switch why {
		case notYet:
			_, err := l.q.End(ctx, sqlc.EndParams{DedupeKey: m.DedupeKey, Was: mailQueued, State: mailQueued, NotBefore: db.Micros(l.now.Add(groupWait)), Code: m.LastCode, Reply: m.LastReply})
			return nil, err
		case neverSent:
			// Nothing to go back to: the ledger then says that nothing was sent.
			it.Was, it.After, it.Since = 0, "", 0
			items[i] = it
			if m.Body, err = bodyOf(items); err != nil {
				return nil, err
			}
		}
		if why == "" {
			keep = append(keep, it)
			continue
		}
		if len(items) == 1 {
			return nil, l.s.close(ctx, l.q, m, mailDropped, why, l.now)
		}
		if doubt { // it may have arrived: what the ledger says stands
			continue
		}
		if err := takeBack(ctx, l.q, m, it); err != nil {
			return nil, err
		}
	}
	if len(keep) == 0 {
		m.Body = "[]" // each was taken back above
		return nil, l.s.close(ctx, l.q, m, mailDropped, "overtaken", l.now)
	}
	body, err := bodyOf(keep)
	if err != nil {
		return nil, err
	}
	level := highest(keep)
	if doubt && level < 3 {
		// What was worth a second copy is gone from it. If the first arrived, that
		// is all there will be.
		return nil, l.s.end(ctx, l.q, m, mailUnknown, m.NotBefore, l.now, Outcome{Reply: "superseded, delivery uncertain"})
	}
	n, err := l.q.Lease(ctx, sqlc.LeaseParams{
		DedupeKey: m.DedupeKey, Owner: l.owner, Until: db.Micros(l.now.Add(leaseFor)), Level: int64(level), Body: body,
	})
	if err != nil || n == 0 {
		return nil, err
	}
	return l.email(ctx, m, person, keep, level)
}

// highest returns the highest caution level of the items, 0 without a caution.
func highest(items []Item) (level int) {
	for _, it := range items {
		if caution(it.Kind) {
			level = max(level, it.Level)
		}
	}
	return level
}

// overtaken says why an item must not be sent any more; "" where it may.
func (l *leasing) overtaken(ctx context.Context, it Item) (string, error) {
	f, err := l.flow(ctx, it.River)
	if err != nil {
		return "", err
	}
	if it.Kind == KindFall || it.Kind == KindClear {
		why, err := l.wasSent(ctx, it)
		if err != nil || why != "" {
			return why, err
		}
	}
	switch {
	case it.Kind == KindGauge:
		return f.gaugeOvertaken(it, l.now), nil
	case Good(it.Kind) && f.Inhibits():
		return "held back by caution level", nil
	case it.Kind == KindNoData && !f.NoData:
		return "readings resumed", nil
	case it.Kind == KindWarning:
		if len(f.Warned) == 0 {
			return "the warnings are over", nil
		}
		return "", nil
	case caution(it.Kind) && it.Kind != KindNoData && f.Level != it.Level:
		return "overtaken", nil
	}
	return "", nil
}

// Reasons for not telling an item that need more than dropping it.
const (
	neverSent = "the alert it retracts was never sent"
	notYet    = "the alert it retracts is still being sent"
)

// wasSent says whether the mail about the higher level went out, with it.
func (l *leasing) wasSent(ctx context.Context, it Item) (why string, err error) {
	m, err := l.q.Mail(ctx, it.After)
	if errors.Is(err, sql.ErrNoRows) {
		if it.After == "" {
			return neverSent, nil
		}
		return "", nil // cleaned away: it was long ago
	}
	if err != nil {
		return "", err
	}
	switch m.State {
	case mailQueued, mailLeased, mailSending:
		return notYet, nil
	case mailDropped, mailExpired, mailFailed:
		return neverSent, nil
	}
	items, err := itemsOf(m)
	if err != nil {
		return "", err
	}
	if !slices.ContainsFunc(items, func(o Item) bool { return o.River == it.River && o.Rule == it.Rule }) {
		return neverSent, nil
	}
	return "", nil
}

func (l *leasing) email(ctx context.Context, m sqlc.Outbox, p sqlc.Person, items []Item, level int) (*Email, error) {
	out := &Email{
		Key: m.DedupeKey, MessageID: m.MessageID, Thread: or(items[0].Episode, m.MessageID), Person: p.ID, Address: p.Address,
		Zone: p.Zone, Units: p.Units, Kind: m.Kind, Level: level, Attempt: int(m.Attempts) + 1, At: l.now, Expires: db.Time(m.ExpiresAt),
	}
	for _, it := range items {
		x := EmailItem{Item: it}
		f, err := l.flow(ctx, it.River)
		if err != nil {
			return nil, err
		}
		if caution(it.Kind) {
			if it.News != "" {
				if x.Reading, err = l.s.reading(ctx, l.q, it.News); err != nil {
					return nil, err
				}
			}
			out.Items = append(out.Items, x)
			continue
		}
		if it.News == "" { // a condition at a gauge whose river has no outlook yet
			x.Caution = f.Latest
			out.Items = append(out.Items, x)
			continue
		}
		if x.Outlook, err = l.s.outlook(ctx, l.q, it.News); err != nil {
			return nil, err
		}
		if i := slices.IndexFunc(x.Outlook.Stages, func(s Stage) bool { return s.Group == it.Group && s.Stage == it.Stage }); i >= 0 {
			x.About = &x.Outlook.Stages[i]
		}
		if x.Caution = f.Latest; x.Caution != nil {
			if f.Level > x.Caution.Level { // held by the hysteresis
				c := *x.Caution
				c.Level = f.Level
				x.Caution = &c
			}
			if h := x.Caution.Heat; h != "" {
				// The water may have warmed since the outlook was issued.
				o := *x.Outlook
				o.Heat = h
				x.Outlook = &o
			}
		}
		out.Items = append(out.Items, x)
	}
	return out, nil
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// Result is what a relay said of a mail.
type Result int

// The results.
const (
	Sent           Result = iota // 250 after the final dot, and nothing less
	Deferred                     // may be tried again: 4xx, or no connection
	Refused                      // 5xx for this recipient
	SenderRejected               // 5xx to our login or our sender: no reader's fault
	Unknown                      // the connection ended after the final dot
)

// Outcome is a result with its words.
type Outcome struct {
	Key      string
	Result   Result
	Code     int
	Enhanced string
	Reply    string
}

// record marks mails as under way, each just before its text goes out, and
// writes down outcomes, all in one transaction. It returns which of the first
// owner may send; the others were taken from it.
func (s *Store) record(ctx context.Context, owner string, begin []string, ended []Outcome) (map[string]bool, error) {
	may := map[string]bool{}
	err := s.tx(ctx, func(q *sqlc.Queries, tx db.Querier) error {
		clear(may)
		now := s.now()
		for _, k := range begin {
			n, err := q.Begin(ctx, sqlc.BeginParams{DedupeKey: k, Owner: owner, Now: db.Micros(now)})
			if err != nil {
				return err
			}
			may[k] = n == 1
		}
		for _, o := range ended {
			m, err := q.Mail(ctx, o.Key)
			if errors.Is(err, sql.ErrNoRows) {
				continue // its reader had everything deleted
			}
			if err != nil {
				return err
			}
			if m.LeaseOwner != owner || m.State != mailLeased && m.State != mailSending {
				continue // decided already
			}
			if err := s.outcome(ctx, q, tx, m, o, now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("recording what was sent: %w", err)
	}
	return may, nil
}

func (s *Store) outcome(ctx context.Context, q *sqlc.Queries, tx db.Querier, m sqlc.Outbox, o Outcome, now time.Time) error {
	switch o.Result {
	case Sent:
		return s.end(ctx, q, m, mailSent, m.NotBefore, now, o)
	case Refused:
		if err := s.end(ctx, q, m, mailFailed, m.NotBefore, now, o); err != nil {
			return err
		}
		_, err := subscribe.RecordBounce(ctx, tx, subscribe.Bounce{
			Person: m.PersonID, Kind: subscribe.KindOf(o.Enhanced, o.Code), Status: o.Enhanced, Source: "smtp", Key: m.DedupeKey, At: now,
		})
		// Nothing is taken back: a second mail of the same would be refused again.
		// What goes back on it is dropped when it is due.
		return err
	case Unknown:
		return s.lost(ctx, q, m, now, o)
	default:
		next := now.Add(wait(int(m.Attempts), int(m.Level), o.Result))
		return s.end(ctx, q, m, resultDeferred, db.Micros(next), now, o)
	}
}

// wait is how long to wait before trying again. RFC 5321 asks for half an hour
// of those who deliver to strangers; we hand to a relay of our own, and water
// does not wait.
func wait(attempts, level int, r Result) time.Duration {
	first, most := 10*time.Minute, 2*time.Hour
	if level == 3 {
		first, most = time.Minute, 20*time.Minute
	}
	if r == SenderRejected {
		return most / 2
	}
	d := first
	for range min(attempts-1, 10) {
		d *= 2
	}
	return min(d, most)
}

// lost is the one case in which nobody can know whether a mail arrived. A
// caution of level 3 is sent again, under the same Message-ID; anything else is
// not, and says so.
func (s *Store) lost(ctx context.Context, q *sqlc.Queries, m sqlc.Outbox, now time.Time, o Outcome) error {
	if m.Level < 3 {
		return s.end(ctx, q, m, mailUnknown, m.NotBefore, now, o)
	}
	if err := addLog(ctx, q, m, mailUnknown, now, o); err != nil {
		return err
	}
	return s.end(ctx, q, m, resultDeferred, db.Micros(now.Add(wait(int(m.Attempts), 3, Deferred))), now, o)
}

// Recover takes up what others left: who held a mail and has not begun when the
// lease ran out gives it back; who had begun may have sent it. With all, leases
// count as run out: right when a process that is alone starts.
func (s *Store) Recover(ctx context.Context, all bool) error {
	until := s.now()
	if all {
		until = until.Add(2 * leaseFor)
	}
	for _, state := range []string{mailLeased, mailSending} {
		for {
			n := 0
			err := s.tx(ctx, func(q *sqlc.Queries, _ db.Querier) error {
				now := s.now()
				ms, err := q.Lost(ctx, sqlc.LostParams{State: state, Now: db.Micros(until), Many: batch})
				if err != nil {
					return err
				}
				n = len(ms)
				for _, m := range ms {
					o := Outcome{Reply: "sender stopped"}
					if state == mailLeased {
						err = s.end(ctx, q, m, resultDeferred, db.Micros(now), now, o)
					} else {
						err = s.lost(ctx, q, m, now, o)
					}
					if err != nil {
						return err
					}
				}
				return nil
			})
			if err != nil {
				return fmt.Errorf("taking up mails that were left: %w", err)
			}
			if n < batch {
				break
			}
		}
	}
	return nil
}
