package alert

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert/internal/sqlc"
)

// Rules whose state a river has, and a person's ledger under them.
const (
	ruleCaution = "caution"
	ruleOutlook = "outlook" // of a river only
	ruleNoData  = "no-data" // of a person only
	ruleWindow  = "window:" // of a person only; then group:stage
)

// Store decides who is sent what, and records it. Make it with New, one in a
// process for all that call Deliver.
type Store struct {
	db  *db.DB
	now func() time.Time

	find Finder

	mu       sync.Mutex
	outlooks map[string]*Outlook // by news id
	readings map[string]*Reading

	starting sync.Mutex
	started  bool // Deliver ran once

	// wrap lets a test stand between us and the database.
	wrap func(db.Querier) db.Querier
}

// New returns a Store on d, which must be migrated. Without find no outlook can
// be mailed, which is right for a process that only reads bounces.
func New(d *db.DB, now func() time.Time, find Finder) *Store {
	if find == nil {
		find = func(context.Context, Issued) (*Outlook, error) {
			return nil, errors.New("this process reads no outlooks")
		}
	}
	return &Store{db: d, now: now, find: find, wrap: func(q db.Querier) db.Querier { return q }}
}

func (s *Store) tx(ctx context.Context, do func(*sqlc.Queries, db.Querier) error) error {
	return s.db.Tx(ctx, func(tx *db.Tx) error {
		q := s.wrap(tx)
		return do(sqlc.New(q), q)
	})
}

func (s *Store) plain() *sqlc.Queries { return sqlc.New(s.wrap(s.db.SQL)) }

// AddReading takes in the caution of a new reading. The same reading again, or
// an older one, does nothing.
func (s *Store) AddReading(ctx context.Context, r Reading) error {
	err := s.tx(ctx, func(q *sqlc.Queries, _ db.Querier) error {
		// Of two processes that take in readings of one river, the later goes on from
		// what the earlier left.
		if err := lock(ctx, q, r.River); err != nil {
			return err
		}
		f, seq, err := flowOf(ctx, q, r.River)
		if err != nil || !r.At.After(f.LastAt) {
			return err
		}
		was := f.Inhibits()
		changed := f.Read(r)
		changed = f.Warn(r) || changed
		f.Latest = &r
		if changed {
			if f.News, err = addNews(ctx, q, "r", r.River, r.At, r); err != nil {
				return err
			}
		}
		// Whoever waits for a value at the gauge is weighed at each reading.
		waiting, err := q.GaugeConditions(ctx, r.River)
		if err != nil {
			return err
		}
		return s.putFlow(ctx, q, r.River, f, seq, changed || waiting > 0, was)
	})
	if err != nil {
		return fmt.Errorf("taking in a reading of %s: %w", r.River, err)
	}
	return nil
}

// Tick takes in that time has passed: a river without new readings counts as
// without data, and its readers learn so.
func (s *Store) Tick(ctx context.Context) error {
	all, err := s.plain().Rivers(ctx, ruleCaution)
	if err != nil {
		return fmt.Errorf("looking at the rivers: %w", err)
	}
	for _, row := range all {
		var f Flow
		if err := json.Unmarshal([]byte(row.Body), &f); err != nil {
			return fmt.Errorf("reading the state of %s: %w", row.River, err)
		}
		if !f.Wait(s.now()) {
			continue
		}
		err := s.tx(ctx, func(q *sqlc.Queries, _ db.Querier) error {
			if err := lock(ctx, q, row.River); err != nil {
				return err
			}
			f, seq, err := flowOf(ctx, q, row.River) // again, inside the transaction
			if err != nil {
				return err
			}
			was := f.Inhibits()
			if !f.Wait(s.now()) {
				return nil
			}
			if f.Latest != nil {
				if f.News, err = addNews(ctx, q, "r", row.River, f.Latest.At, f.Latest); err != nil {
					return err
				}
			}
			return s.putFlow(ctx, q, row.River, f, seq, true, was)
		})
		if err != nil {
			return fmt.Errorf("looking at %s: %w", row.River, err)
		}
	}
	return nil
}

// AddOutlook takes in a new outlook. The same again, or an older one, does
// nothing.
func (s *Store) AddOutlook(ctx context.Context, o Issued) error {
	err := s.tx(ctx, func(q *sqlc.Queries, _ db.Querier) error {
		if err := lock(ctx, q, o.River); err != nil {
			return err
		}
		row, err := q.River(ctx, sqlc.RiverParams{River: o.River, Rule: ruleOutlook})
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		at := db.Micros(o.At)
		if row.ReadingAt >= at {
			return nil
		}
		id, err := addNews(ctx, q, "o", o.River, o.At, o)
		if err != nil {
			return err
		}
		return q.PutRiver(ctx, sqlc.PutRiverParams{River: o.River, Rule: ruleOutlook, Seq: row.Seq + 1, ReadingAt: at, Body: id})
	})
	if err != nil {
		return fmt.Errorf("taking in an outlook of %s: %w", o.River, err)
	}
	return nil
}

// flowOf returns the caution's state of a river, the zero Flow where there is
// none.
func flowOf(ctx context.Context, q *sqlc.Queries, river string) (Flow, int64, error) {
	var f Flow
	row, err := q.River(ctx, sqlc.RiverParams{River: river, Rule: ruleCaution})
	if errors.Is(err, sql.ErrNoRows) {
		return f, 0, nil
	}
	if err == nil {
		err = json.Unmarshal([]byte(row.Body), &f)
	}
	return f, row.Seq, err
}

func (s *Store) putFlow(ctx context.Context, q *sqlc.Queries, river string, f Flow, seq int64, changed, inhibited bool) error {
	body, err := json.Marshal(f)
	if err != nil {
		return err
	}
	if changed {
		seq++
	}
	err = q.PutRiver(ctx, sqlc.PutRiverParams{
		River: river, Rule: ruleCaution, Level: int64(f.Level), Seq: seq, ReadingAt: db.Micros(f.LastAt), Body: string(body),
	})
	if err == nil && inhibited && !f.Inhibits() {
		// Good news that waited may go out now.
		_, err = q.TouchRule(ctx, sqlc.TouchRuleParams{River: river, Rule: ruleOutlook})
	}
	return err
}

func addNews(ctx context.Context, q *sqlc.Queries, kind, river string, at time.Time, facts any) (string, error) {
	body, err := json.Marshal(facts)
	if err != nil {
		return "", err
	}
	id := fmt.Sprintf("%s:%s:%d", kind, river, db.Micros(at))
	return id, q.AddNews(ctx, sqlc.AddNewsParams{ID: id, River: river, MadeAt: db.Micros(at), Body: string(body)})
}

// How long rows are kept; our own defaults.
const (
	mailKept = 40 * 24 * time.Hour
	logKept  = 400 * 24 * time.Hour
	factKept = 60 * 24 * time.Hour
)

// Clean forgets what is past its time, and says how much. What was sent stays
// known: see the ledger.
func (s *Store) Clean(ctx context.Context) (map[string]int64, error) {
	q, now := s.plain(), s.now()
	mails, err1 := q.DropOldMails(ctx, db.Micros(now.Add(-mailKept)))
	log, err2 := q.DropOldLog(ctx, db.Micros(now.Add(-logKept)))
	news, err3 := q.DropOldNews(ctx, db.Micros(now.Add(-factKept)))
	if err := errors.Join(err1, err2, err3); err != nil {
		return nil, fmt.Errorf("forgetting old mails: %w", err)
	}
	return map[string]int64{"mails": mails, "send-log": log, "news": news}, nil
}

// Counts returns how many mails are in each state.
func (s *Store) Counts(ctx context.Context) (map[string]int, error) {
	rs, err := s.plain().Counts(ctx)
	if err != nil {
		return nil, fmt.Errorf("counting mails: %w", err)
	}
	out := map[string]int{}
	for _, r := range rs {
		out[r.State] = int(r.Mails)
	}
	return out, nil
}
