package alert

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/civil"
	"example.org/eclose/notify/alert/internal/sqlc"
)

const (
	batch = 500 // people brought into line in one transaction

	// notifyFrom is the level from which a caution is a mail of its own. Level 1
	// stands in every other mail; alone it would be one each cold morning.
	notifyFrom = 2
)

// Stats says what a pass did.
type Stats struct {
	Rivers, People, Items, Mails int
}

// Reconcile brings every reader of every river with news into line with it. It is
// the only place where mails come into being. Killed anywhere, the next call
// goes on; called twice, the second does nothing.
func (s *Store) Reconcile(ctx context.Context) (Stats, error) {
	var t Stats
	rivers, err := s.plain().DirtyRivers(ctx, db.Micros(s.now()))
	if err != nil {
		return t, fmt.Errorf("looking for news: %w", err)
	}
	for _, r := range rivers {
		if err := s.reconcileRiver(ctx, r, &t); err != nil {
			return t, fmt.Errorf("telling of %s: %w", r, err)
		}
		t.Rivers++
	}
	return t, nil
}

// pass is one river's news on its way to its readers.
type pass struct {
	s       *Store
	now     time.Time
	river   string
	flow    Flow
	outlook *Outlook   // nil: none yet
	news    string     // its id
	today   civil.Date // at the river
	checkAt time.Time
	stats   *Stats
	seqs    map[string]int64
}

func (s *Store) reconcileRiver(ctx context.Context, river string, t *Stats) error {
	after := ""
	var checkAt time.Time
	var first map[string]int64
	for {
		var p *pass
		var n int
		err := s.tx(ctx, func(q *sqlc.Queries, _ db.Querier) (err error) {
			// The lock keeps two processes from deciding for the same people.
			if err = lock(ctx, q, river); err != nil {
				return err
			}
			if p, err = s.pass(ctx, q, river, t); err != nil {
				return err
			}
			after, n, err = p.batch(ctx, q, after)
			return err
		})
		if err != nil {
			return err
		}
		if first == nil {
			first = p.seqs
		}
		if !p.checkAt.IsZero() && (checkAt.IsZero() || p.checkAt.Before(checkAt)) {
			checkAt = p.checkAt
		}
		if n < batch {
			break
		}
	}
	// What changed while we went along leaves its mark: the count is then higher
	// than the one we started from, and the next pass goes again.
	return s.tx(ctx, func(q *sqlc.Queries, _ db.Querier) error {
		if err := lock(ctx, q, river); err != nil {
			return err
		}
		for rule, seq := range first {
			p := sqlc.RiverSentParams{River: river, Rule: rule, Seq: seq}
			if rule == ruleCaution {
				p.CheckAt = db.Micros(checkAt)
			}
			if _, err := q.RiverSent(ctx, p); err != nil {
				return err
			}
		}
		return nil
	})
}

// lock takes a river's rows for this transaction, in one order: two processes
// that took them in another would wait for each other.
func lock(ctx context.Context, q *sqlc.Queries, river string) error {
	for _, rule := range []string{ruleCaution, ruleOutlook} {
		if _, err := q.LockRule(ctx, sqlc.LockRuleParams{River: river, Rule: rule}); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) pass(ctx context.Context, q *sqlc.Queries, river string, t *Stats) (*pass, error) {
	p := &pass{s: s, now: s.now(), river: river, stats: t, seqs: map[string]int64{}}
	var err error
	var seq int64
	if p.flow, seq, err = flowOf(ctx, q, river); err != nil {
		return nil, err
	}
	if seq > 0 {
		p.seqs[ruleCaution] = seq
	}
	row, err := q.River(ctx, sqlc.RiverParams{River: river, Rule: ruleOutlook})
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return p, nil
	case err != nil:
		return nil, err
	}
	p.seqs[ruleOutlook] = row.Seq
	p.news = row.Body
	if p.outlook, err = s.outlook(ctx, q, p.news); err != nil {
		return nil, err
	}
	p.today = civil.DateOf(p.now.In(forecast.ZoneOf(p.outlook.Zone)))
	return p, nil
}

// checkBy asks for the river to be looked at again at t.
func (p *pass) checkBy(t time.Time) {
	if p.checkAt.IsZero() || t.Before(p.checkAt) {
		p.checkAt = t
	}
}

// reader is one person of the audience with what they were sent and what waits
// to be sent to them.
type reader struct {
	sqlc.AudienceRow
	habits habits
	ledger map[string]*entry
	queue  map[string]*waiting // by kind
	mails  int                 // of the last day
}

// entry is a row of the ledger.
type entry struct {
	sqlc.Episode
	dirty bool
}

func (p *pass) batch(ctx context.Context, q *sqlc.Queries, after string) (last string, n int, err error) {
	audience, err := q.Audience(ctx, sqlc.AudienceParams{River: p.river, After: after, Now: db.Micros(p.now), Many: batch})
	if err != nil || len(audience) == 0 {
		return after, 0, err
	}
	last = audience[len(audience)-1].ID
	readers, err := p.load(ctx, q, audience, after, last)
	if err != nil {
		return after, 0, err
	}
	for _, r := range readers {
		p.stats.People++
		items, err := p.decide(r)
		if err != nil {
			return after, 0, err
		}
		p.stats.Items += len(items)
		for _, it := range items {
			p.queue(r, it)
		}
		if err := p.save(ctx, q, r); err != nil {
			return after, 0, err
		}
	}
	return last, len(audience), nil
}

func (p *pass) load(ctx context.Context, q *sqlc.Queries, audience []sqlc.AudienceRow, after, last string) ([]*reader, error) {
	byID := make(map[string]*reader, len(audience))
	out := make([]*reader, len(audience))
	for i, a := range audience {
		r := &reader{AudienceRow: a, ledger: map[string]*entry{}, queue: map[string]*waiting{}, habits: habits{
			zone: forecast.ZoneOf(a.Zone), quietFrom: int(a.QuietFrom), quietTo: int(a.QuietTo), wakeFor3: a.WakeFor3 != 0,
		}}
		byID[a.ID], out[i] = r, r
	}
	ledger, err := q.Ledger(ctx, sqlc.LedgerParams{River: p.river, After: after, Until: last})
	if err != nil {
		return nil, err
	}
	for _, e := range ledger {
		if r := byID[e.PersonID]; r != nil {
			r.ledger[e.Rule] = &entry{Episode: e}
		}
	}
	queued, err := q.Waiting(ctx, sqlc.WaitingParams{After: after, Until: last})
	if err != nil {
		return nil, err
	}
	for _, w := range queued {
		r := byID[w.PersonID]
		if r == nil {
			continue
		}
		x := &waiting{key: w.DedupeKey, kind: w.Kind, level: int(w.Level), notBefore: db.Time(w.NotBefore), expires: db.Time(w.ExpiresAt)}
		if err := json.Unmarshal([]byte(w.Body), &x.items); err != nil {
			return nil, fmt.Errorf("reading the mail %s: %w", w.DedupeKey, err)
		}
		r.queue[w.Kind] = x
	}
	counts, err := q.MailsSince(ctx, sqlc.MailsSinceParams{After: after, Until: last, Since: db.Micros(p.now.Add(-24 * time.Hour))})
	if err != nil {
		return nil, err
	}
	for _, c := range counts {
		if r := byID[c.PersonID]; r != nil {
			r.mails = int(c.Mails)
		}
	}
	return out, nil
}

// entry returns the ledger's row of a rule, a new one where there is none.
func (p *pass) entry(r *reader, rule string) *entry {
	e := r.ledger[rule]
	if e == nil {
		e = &entry{Episode: sqlc.Episode{PersonID: r.ID, River: p.river, Rule: rule}}
		r.ledger[rule] = e
	}
	return e
}

const (
	stateOpen     = "open"
	stateFlapping = "flapping"
)

// decide compares what a reader was last sent with the state of the river, and returns
// what is to be sent. It also sets what the ledger will say.
func (p *pass) decide(r *reader) ([]Item, error) {
	var out []Item
	if r.Cautions != 0 {
		it, said := p.decideCaution(r)
		if said {
			out = append(out, it)
		}
		if it, ok := p.decideWarnings(r, said); ok {
			out = append(out, it)
		}
	}
	if r.GaugeCondition != "" {
		it, ok, err := p.decideGauge(r)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, it)
		}
	} else if p.outlook != nil {
		windows, err := p.decideWindows(r)
		if err != nil {
			return nil, err
		}
		out = append(out, windows...)
	}
	if it, ok := p.decideNoData(r); ok {
		out = append(out, it)
	}
	return out, nil
}

func (p *pass) decideCaution(r *reader) (Item, bool) {
	f := &p.flow
	e := p.entry(r, ruleCaution)
	was, open := int(e.SentLevel), e.State != ""
	if !open {
		was = 0
	}
	it := Item{River: p.river, Rule: ruleCaution, News: f.News, Level: f.Level, Was: was, After: e.Mail, Since: e.SentAt}
	switch {
	case f.Level >= notifyFrom && f.Level > was:
		it.Kind = KindRise
		if f.Flapping {
			it.Kind = KindFlapping
		}
		if !open {
			e.Episode.Episode = p.thread(r, e)
			it.After, it.Since = "", 0
		}
	case f.Flapping && open && e.State != stateFlapping && f.Level >= notifyFrom:
		it.Kind = KindFlapping
	case open && f.Level < was:
		if due := db.Time(e.SentAt).Add(coolDown); p.now.Before(due) {
			p.checkBy(due)
			return it, false
		}
		it.Kind = KindFall
		if f.Level == 0 {
			it.Kind = KindClear
		}
	case open && f.Level == 3:
		if due := db.Time(e.SentAt).Add(restate); p.now.Before(due) {
			p.checkBy(due)
			return it, false
		}
		it.Kind = KindStillHigh
	default:
		return it, false
	}
	e.State = stateOpen
	if f.Flapping {
		e.State = stateFlapping
	}
	e.SentLevel = int64(f.Level)
	if f.Level < notifyFrom {
		e.State, e.SentLevel = "", 0
	}
	e.SentAt, e.dirty = db.Micros(p.now), true
	e.News = f.News
	if f.Level == 3 {
		p.checkBy(p.now.Add(restate))
	}
	return it, true
}

// decideNoData sends once that there are no data, to those whom we sent a
// caution or of a window that may have them on their way.
func (p *pass) decideNoData(r *reader) (Item, bool) {
	f := &p.flow
	if !f.NoData {
		return Item{}, false
	}
	waits := false
	for name, e := range r.ledger {
		waits = waits || e.State != "" && concerned(name)
	}
	since := fmt.Sprint(db.Micros(f.KnownAt))
	e := p.entry(r, ruleNoData)
	if !waits || e.News == since {
		return Item{}, false
	}
	e.News, e.SentAt, e.dirty = since, db.Micros(p.now), true
	e.Episode.Episode = p.thread(r, e)
	return Item{Kind: KindNoData, River: p.river, Rule: ruleNoData, News: f.News, Level: f.Level, Since: db.Micros(f.KnownAt)}, true
}

func (p *pass) decideWindows(r *reader) ([]Item, error) {
	var out []Item
	w := rule{groups: split(r.GroupList), stages: split(r.StageList), threshold: r.Threshold, horizon: int(r.HorizonDays)}
	opened := r.Cadence == cadenceOpener && p.openedThisYear(r)
	for i := range p.outlook.Stages {
		st := &p.outlook.Stages[i]
		if !w.wants(st) {
			continue
		}
		rule := ruleWindow + st.Group + ":" + st.Stage
		var was sent
		e := r.ledger[rule]
		if e != nil {
			if e.News == p.news {
				continue // this outlook was weighed already
			}
			from, err1 := parseDate(e.SentFrom)
			to, err2 := parseDate(e.SentTo)
			if err := errors.Join(err1, err2); err != nil {
				return nil, fmt.Errorf("ledger of %s, %s: %w", p.river, rule, err)
			}
			was = sent{open: e.State != "", at: db.Time(e.SentAt), from: from, to: to, streak: int(e.Streak)}
		}
		kind, is, err := w.decide(was, st, p.outlook.Issued, p.today)
		if err != nil {
			return nil, fmt.Errorf("forecast %s of %s: %w", p.news, p.river, err)
		}
		if is == was && kind == "" {
			continue
		}
		if Good(kind) && p.flow.Inhibits() {
			continue // nothing is sent and nothing noted: it waits for the river
		}
		e = p.entry(r, rule)
		it := Item{
			Kind: kind, River: p.river, Rule: rule, News: p.news, Group: st.Group, Stage: st.Stage,
			From: date(is.from), To: date(is.to), WasFrom: date(was.from), WasTo: date(was.to), Since: e.SentAt, Asked: r.Threshold, After: e.Mail,
		}
		if kind == KindOpen {
			e.Episode.Episode = p.thread(r, e)
			it.After = ""
		}
		e.State = ""
		if is.open {
			e.State = stateOpen
		}
		sentAt := e.SentAt
		e.SentAt, e.SentFrom, e.SentTo, e.Streak, e.News, e.dirty = db.Micros(is.at), date(is.from), date(is.to), int64(is.streak), p.news, true
		switch {
		case kind == "":
		case r.Cadence == cadenceOpener && (opened || kind != KindOpen):
			e.SentAt = sentAt // noted and not sent
		default:
			out = append(out, it)
		}
	}
	return out, nil
}

// openedThisYear reports whether a reader was sent a window of the river this year.
func (p *pass) openedThisYear(r *reader) bool {
	for rule, e := range r.ledger {
		if e.N > 0 && strings.HasPrefix(rule, ruleWindow) && db.Time(e.SentAt).Year() == p.today.Time().Year() {
			return true
		}
	}
	return false
}

func split(s string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(s, ",")
}

// hash makes a key of parts: 160 bits, as hex.
func hash(parts ...any) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%v\x00", p) // a hash never fails to be written to
	}
	return hex.EncodeToString(h.Sum(nil)[:20])
}

// thread names an episode: all its mails refer to it.
func (p *pass) thread(r *reader, e *entry) string {
	return hash("episode", r.ID, r.ConfirmedAt, p.river, e.Rule, e.N)
}

// waiting is a mail that has not been tried yet: more may go into it.
type waiting struct {
	key       string
	kind      string
	level     int
	notBefore time.Time
	expires   time.Time
	items     []Item
	fresh     bool
	dirty     bool
}

// Kinds of mail. Items of one kind for one person go together while they wait.
const (
	MailCaution = "caution"
	MailNews    = "news"
	MailDigest  = "digest"
)

// Waiting and expiry; our own defaults.
const (
	groupWait     = 5 * time.Minute
	cautionLife   = 6 * time.Hour
	newsLife      = 24 * time.Hour
	digestLife    = 48 * time.Hour
	level3PerDay  = 10
	cadenceDigest = "digest"
	cadenceWeekly = "weekly"
	cadenceOpener = "opener"
)

// queue puts an item into the mail that waits for its reader, or into a new
// one.
func (p *pass) queue(r *reader, it Item) {
	kind, at, life := MailNews, p.now.Add(groupWait), newsLife
	level := 0
	if caution(it.Kind) {
		kind, life, level = MailCaution, cautionLife, it.Level
		if it.Level == 3 && it.Kind != KindStillHigh {
			at = p.now
		}
	}
	spent := r.mails >= int(r.PerDay)
	if level == 3 {
		spent = r.mails >= level3PerDay
	}
	if it.Kind == KindStillHigh || spent || r.Cadence == cadenceDigest && kind == MailNews {
		// The morning's mail: for those who want but one, for a level that still
		// stands, and as the one summary of a day with too many mails.
		kind, life = MailDigest, digestLife
		at = r.habits.digest(p.now)
	} else {
		at = r.habits.allowed(at, level)
	}
	if r.Cadence == cadenceWeekly && kind != MailCaution && !caution(it.Kind) {
		kind, life, at = MailDigest, digestLife, r.habits.sunday(p.now)
	}
	e := r.ledger[it.Rule]
	e.N++
	e.dirty = true
	it.Episode = e.Episode.Episode
	for _, w := range r.queue {
		if i := slices.IndexFunc(w.items, func(o Item) bool { return o.River == it.River && o.Rule == it.Rule }); i >= 0 {
			both, worth := merge(w.items[i], it)
			w.items = slices.Delete(w.items, i, i+1)
			w.dirty = true
			if !worth {
				e.Mail = both.After
				return // it came and went before any email was sent
			}
			it = both
		}
	}
	w := r.queue[kind]
	if w == nil {
		w = &waiting{
			key:  hash("mail", r.ID, r.ConfirmedAt, it.River, it.Rule, e.N, it.Kind, it.Level),
			kind: kind, notBefore: at, expires: at.Add(life), fresh: true,
		}
		r.queue[kind] = w
		r.mails++
		p.stats.Mails++
	}
	w.items = append(w.items, it)
	sort.SliceStable(w.items, func(i, j int) bool { return weight(w.items[j]) < weight(w.items[i]) })
	if at.Before(w.notBefore) {
		w.notBefore = at
	}
	w.expires = maxTime(w.expires, at.Add(life))
	w.dirty = true
	e.Mail = w.key
}

// weight orders items, worst first.
func weight(i Item) int {
	if caution(i.Kind) {
		return 10 + i.Level
	}
	return 0
}

func maxTime(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// merge joins an item that waits with a later one under the same rule, so that
// nobody reads of a change that is over. worth is false where nothing is left to
// say.
func merge(was, is Item) (both Item, worth bool) {
	both = is
	both.After = was.After
	if caution(is.Kind) {
		if is.Rule == ruleNoData {
			return is, true
		}
		if is.Rule == ruleWarnings {
			both.KnownWarnings, both.Since = was.KnownWarnings, was.Since
			return both, true
		}
		both.Was, both.Since = was.Was, was.Since
		switch {
		case both.Level == both.Was && is.Kind != KindStillHigh && is.Kind != KindFlapping:
			return both, false
		case both.Level < both.Was && both.Level == 0:
			both.Kind = KindClear
		case both.Level < both.Was:
			both.Kind = KindFall
		case both.Level > both.Was && is.Kind != KindFlapping:
			both.Kind = KindRise
		}
		// A fall to a level that no email was sent about is no news.
		return both, both.Was > 0 || both.Level >= notifyFrom
	}
	both.WasFrom, both.WasTo, both.Since = was.WasFrom, was.WasTo, was.Since
	switch {
	case was.Kind == KindOpen && is.Kind == KindClosed, was.Kind == KindGauge && is.Kind == KindGaugeOver:
		return both, false
	case was.Kind == KindOpen:
		both.Kind = KindOpen
	}
	return both, true
}

func (p *pass) save(ctx context.Context, q *sqlc.Queries, r *reader) error {
	for _, e := range r.ledger {
		if !e.dirty {
			continue
		}
		if err := q.PutLedger(ctx, sqlc.PutLedgerParams(e.Episode)); err != nil {
			return err
		}
	}
	for _, w := range r.queue {
		if !w.dirty {
			continue
		}
		w.level = 0
		for _, it := range w.items {
			if caution(it.Kind) {
				w.level = max(w.level, it.Level)
			}
		}
		body, err := json.Marshal(w.items)
		if err != nil {
			return err
		}
		if w.fresh {
			if len(w.items) == 0 {
				continue
			}
			// A key that is there already was put in by somebody else: it is sent already.
			_, err := q.AddMail(ctx, sqlc.AddMailParams{
				DedupeKey: w.key, PersonID: r.ID, Kind: w.kind, Level: int64(w.level), MessageID: w.key, Body: string(body),
				CreatedAt: db.Micros(p.now), NotBefore: db.Micros(w.notBefore), ExpiresAt: db.Micros(w.expires),
			})
			if err != nil {
				return err
			}
			continue
		}
		// An emptied mail stays until it is due; it is then dropped with a word.
		if _, err := q.ChangeMail(ctx, sqlc.ChangeMailParams{
			DedupeKey: w.key, Level: int64(w.level), Body: string(body), NotBefore: db.Micros(w.notBefore), ExpiresAt: db.Micros(w.expires),
		}); err != nil {
			return err
		}
	}
	return nil
}
