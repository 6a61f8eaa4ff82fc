package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"

	"example.org/eclose/ingest"
)

// Members reads every member of an ensemble, that of the key among them, in
// order of member: what Read gives for each, without qualifiers, approvals and
// tests. A file that holds them all is decoded once, where Read decodes it for
// each. It is ErrNotFound if the store knows no member.
func (s *Store) Members(ctx context.Context, key ingest.Key, q Query) ([]ingest.Series, error) {
	sh := bundleOf(key)
	const tries = 5
	for range tries {
		x, err := s.loadIndex(ctx, sh.path())
		if errors.Is(err, errNoIndex) {
			return nil, fmt.Errorf("reading %s: %w in store %s", key, ErrNotFound, s.url)
		}
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", key, err)
		}
		all, err := s.membersOf(ctx, x, q)
		if errors.Is(err, fs.ErrNotExist) {
			continue // another process wrote these rows anew
		}
		if err != nil {
			return nil, fmt.Errorf("reading the members of %s: %w", key, err)
		}
		var out []ingest.Series
		for _, m := range slices.Sorted(maps.Keys(all)) {
			out = append(out, x.series(sh.key(m), all[m]))
		}
		return out, nil
	}
	return nil, fmt.Errorf("reading the members of %s: its files were replaced %d times while they were read, or one is gone", key, tries)
}

// membersOf reads the rows of the query, member by member.
func (s *Store) membersOf(ctx context.Context, x *index, q Query) (map[int]table, error) {
	const want = colValue | colFlag | colRetrieved
	from, to, asOf := q.bounds()
	all := map[int]table{}
	for _, m := range x.members() {
		all[m] = table{}
	}
	for _, p := range x.ordered() {
		if p.Past || p.First >= to || p.Last < from {
			continue
		}
		t, err := s.readPart(ctx, x.Bundle, &p, want, wanted{all: true})
		if err != nil {
			return nil, err
		}
		var past table
		if asOf < p.RetrievedLast {
			if past, err = s.readPast(ctx, x, p.Span, asOf, wanted{all: true}); err != nil {
				return nil, err
			}
		}
		for m, rows := range all {
			now := t.of(m)
			now = now.slice(now.within(from, to))
			if asOf < p.RetrievedLast {
				before := past.of(m)
				now = now.rewound(&before, asOf, want)
			}
			rows.append(&now)
			all[m] = rows
		}
	}
	return all, nil
}

// of is the rows of one member, without the column that says so.
func (t *table) of(member int) table {
	one := t.slice(t.ofMember(member))
	one.member = nil
	return one
}
