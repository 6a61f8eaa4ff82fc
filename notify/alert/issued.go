package alert

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"example.org/eclose/notify/alert/internal/sqlc"
)

// Issued is what the database keeps of an issued outlook for mails: where the
// outlook is, and what of the day it was taken in mails need besides.
type Issued struct {
	River   string    `json:"river"`
	At      time.Time `json:"issued"`
	File    string    `json:"file"` // of the archive
	SHA256  string    `json:"sha256"`
	WaterC  *Value    `json:"water_c,omitempty"`
	FlowM3S *Value    `json:"flow_m3s,omitempty"`
	Notices string    `json:"notices,omitempty"`
	URL     string    `json:"url,omitempty"`
}

// Finder reads the facts of an issued outlook. It is called within a
// transaction and must not use the database.
type Finder func(ctx context.Context, i Issued) (*Outlook, error)

// Facts that are kept in memory: an outlook is about half a megabyte, and one
// turn goes river by river.
const (
	outlooksKept = 32
	readingsKept = 500
)

// outlook returns the facts of a news id, read once for all mails of a turn.
func (s *Store) outlook(ctx context.Context, q *sqlc.Queries, id string) (*Outlook, error) {
	return kept(s, &s.outlooks, outlooksKept, id, func() (*Outlook, error) {
		body, err := q.News(ctx, id)
		if err != nil {
			return nil, err
		}
		var i Issued
		if err := json.Unmarshal([]byte(body), &i); err != nil {
			return nil, err
		}
		if i.File == "" { // of a version that kept the facts themselves
			o := new(Outlook)
			return o, json.Unmarshal([]byte(body), o)
		}
		return s.find(ctx, i)
	})
}

// reading is the same for the facts of a caution.
func (s *Store) reading(ctx context.Context, q *sqlc.Queries, id string) (*Reading, error) {
	return kept(s, &s.readings, readingsKept, id, func() (*Reading, error) {
		body, err := q.News(ctx, id)
		if err != nil {
			return nil, err
		}
		r := new(Reading)
		return r, json.Unmarshal([]byte(body), r)
	})
}

func kept[T any](s *Store, all *map[string]*T, most int, id string, read func() (*T, error)) (*T, error) {
	s.mu.Lock()
	t, ok := (*all)[id]
	s.mu.Unlock()
	if ok {
		return t, nil
	}
	t, err := read()
	if err != nil {
		return nil, fmt.Errorf("reading the news %s: %w", id, err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if *all == nil || len(*all) >= most {
		*all = map[string]*T{}
	}
	(*all)[id] = t
	return t, nil
}
