package series

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"math"
	"slices"

	"example.org/eclose/ingest"
)

// Digest is a fingerprint of everything the store knows: every reading and
// every older version, with flags and retrieval times, and what each series
// says of itself. It does not depend on how the readings lie in files, so
// Compact leaves it as it is.
func (s *Store) Digest(ctx context.Context) (string, error) {
	h := sha256.New()
	err := s.eachIndex(ctx, indexFolder, func(x *index) error {
		place := x.Place.ingest()
		fmt.Fprintf(h, "%q %q %v %v %v %v %q %q %q\n", x.Bundle.path(), place.Name, place.Lat, place.Lon, place.Elevation, place.Drainage, place.Zone, x.SourceUnit, x.DayStart)
		for _, sp := range x.spanNames() {
			t, err := s.history(ctx, x, sp)
			if err != nil {
				return err
			}
			digestRows(h, &t)
		}
		return nil
	})
	if err != nil {
		return "", fmt.Errorf("digest of series store %s: %w", s.url, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// spanNames lists the spans of a bundle, earliest first.
func (x *index) spanNames() []string {
	var names []string
	seen := map[string]bool{}
	for _, p := range x.ordered() {
		if !seen[p.Span] {
			seen[p.Span] = true
			names = append(names, p.Span)
		}
	}
	return names
}

// history is all versions of all readings of a span.
func (s *Store) history(ctx context.Context, x *index, spanName string) (table, error) {
	all, err := s.readPast(ctx, x, spanName, math.MaxInt64, wanted{all: true})
	if err != nil {
		return table{}, err
	}
	for i := range x.Parts {
		if p := &x.Parts[i]; p.Span == spanName && !p.Past {
			t, err := s.readPart(ctx, x.Bundle, p, allColumns, wanted{all: true})
			if err != nil {
				return table{}, err
			}
			all.append(&t)
		}
	}
	return all.versions(), nil
}

func digestRows(h hash.Hash, t *table) {
	var buf []byte
	text := func(s string) {
		buf = binary.LittleEndian.AppendUint32(buf, uint32(len(s)))
		buf = append(buf, s...)
	}
	for i := range t.len() {
		v := t.value[i]
		if math.IsNaN(v) {
			v = math.NaN() // one NaN of many
		}
		buf = binary.LittleEndian.AppendUint32(buf, uint32(t.memberAt(i)))
		buf = binary.LittleEndian.AppendUint64(buf, uint64(t.time[i]))
		buf = binary.LittleEndian.AppendUint64(buf, math.Float64bits(v))
		text(t.qualifier[i])
		buf = append(buf, byte(t.approval[i]), byte(t.flag[i]))
		text(t.test[i])
		buf = binary.LittleEndian.AppendUint64(buf, uint64(t.retrieved[i]))
		if len(buf) > 1<<16 {
			h.Write(buf)
			buf = buf[:0]
		}
	}
	h.Write(buf)
}

// Versions hands over every version of every reading of a series that the query
// covers and that was retrieved by its AsOf, span by span, sorted by time and
// retrieval: the same time may come several times.
func (s *Store) Versions(ctx context.Context, key ingest.Key, q Query, yield func(ingest.Series) error) error {
	x, err := s.find(ctx, key)
	if err != nil {
		return err
	}
	from, to, asOf := q.bounds()
	for _, sp := range x.spanNames() {
		within := func(p part) bool { return p.Span == sp && p.Last >= from && p.First < to }
		if !slices.ContainsFunc(x.Parts, within) {
			continue
		}
		t, err := s.history(ctx, x, sp)
		if err != nil {
			return fmt.Errorf("reading %s: %w", key, err)
		}
		a, b := t.ofMember(key.Member)
		t = t.slice(a, b)
		var kept table
		for i := range t.len() {
			if t.time[i] >= from && t.time[i] < to && t.retrieved[i] <= asOf {
				kept.take(&t, i)
			}
		}
		if kept.len() == 0 {
			continue
		}
		if err := yield(x.series(key, kept)); err != nil {
			return err
		}
	}
	return nil
}
