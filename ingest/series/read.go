package series

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"sync"
	"time"

	"example.org/eclose/ingest"
)

// Query says which readings of a series are wanted: those with
// From <= time < To, as they were known at AsOf. A zero From or To sets no
// bound, a zero AsOf means as they are known now.
type Query struct {
	From, To time.Time
	AsOf     time.Time
}

// bounds in microseconds since 1970 UTC.
func (q Query) bounds() (from, to, asOf int64) {
	from, to, asOf = math.MinInt64, math.MaxInt64, math.MaxInt64
	if !q.From.IsZero() {
		from = q.From.UnixMicro()
	}
	if !q.To.IsZero() {
		to = q.To.UnixMicro()
	}
	if !q.AsOf.IsZero() {
		asOf = q.AsOf.UnixMicro()
	}
	return from, to, asOf
}

// Read returns a series with all its columns. It is in memory as a whole; Scan
// hands it over piece by piece.
func (s *Store) Read(ctx context.Context, key ingest.Key, q Query) (ingest.Series, error) {
	var pieces []ingest.Series
	err := s.Scan(ctx, key, q, func(piece ingest.Series) error {
		pieces = append(pieces, piece)
		return nil
	})
	if len(pieces) == 0 {
		return ingest.Series{}, err
	}
	all := pieces[0]
	if len(pieces) == 1 {
		return all, err
	}
	// Each column is made in one go: grown piece by piece it would be copied over and over.
	all.Time = joined(pieces, func(p *ingest.Series) []int64 { return p.Time })
	all.Value = joined(pieces, func(p *ingest.Series) []float64 { return p.Value })
	all.Qualifier = joined(pieces, func(p *ingest.Series) []string { return p.Qualifier })
	all.Approval = joined(pieces, func(p *ingest.Series) []ingest.Approval { return p.Approval })
	all.Flag = joined(pieces, func(p *ingest.Series) []ingest.Flag { return p.Flag })
	all.FlagTest = joined(pieces, func(p *ingest.Series) []string { return p.FlagTest })
	all.Retrieved = joined(pieces, func(p *ingest.Series) []int64 { return p.Retrieved })
	return all, err
}

func joined[T any](pieces []ingest.Series, of func(*ingest.Series) []T) []T {
	n := 0
	for i := range pieces {
		n += len(of(&pieces[i]))
	}
	out := make([]T, 0, n)
	for i := range pieces {
		out = append(out, of(&pieces[i])...)
	}
	return out
}

// Scan hands over a series in pieces, in order of time, none longer than one
// file. A series of which the store knows nothing at all is ErrNotFound; one
// that has no reading in the query is handed over as one empty piece.
func (s *Store) Scan(ctx context.Context, key ingest.Key, q Query, yield func(ingest.Series) error) error {
	return s.scan(ctx, key, q, allColumns, yield)
}

func (s *Store) scan(ctx context.Context, key ingest.Key, q Query, want columns, yield func(ingest.Series) error) error {
	x, err := s.find(ctx, key)
	if err != nil {
		return err
	}
	empty := true
	err = s.eachSpan(ctx, x, key, q, want, func(t table) error {
		if t.len() == 0 {
			return nil
		}
		empty = false
		return yield(x.series(key, t))
	})
	if err != nil {
		return fmt.Errorf("reading %s: %w", key, err)
	}
	if empty {
		return yield(x.series(key, table{}))
	}
	return nil
}

// find loads the index of a key's bundle and makes sure that the key is on it.
func (s *Store) find(ctx context.Context, key ingest.Key) (*index, error) {
	x, err := s.loadIndex(ctx, bundleOf(key).path())
	if err == nil && !x.has(key.Member) {
		err = errNoIndex
	}
	if errors.Is(err, errNoIndex) {
		return nil, fmt.Errorf("reading %s: %w in store %s", key, ErrNotFound, s.url)
	}
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", key, err)
	}
	return x, nil
}

func (x *index) has(member int) bool {
	for i := range x.Parts {
		if _, ok := x.Parts[i].of(member); ok {
			return true
		}
	}
	return false
}

// series dresses rows of one member as an ingest.Series.
func (x *index) series(key ingest.Key, t table) ingest.Series {
	return ingest.Series{
		Key: key, Place: x.Place.ingest(), SourceUnit: x.SourceUnit, DayStart: x.DayStart,
		Time: t.time, Value: t.value, Qualifier: t.qualifier, Approval: t.approval,
		Flag: t.flag, FlagTest: t.test, Retrieved: t.retrieved,
	}
}

// spans lists the newest-value parts that may hold rows of the query, earliest
// first. There is one for each span.
func (x *index) spans(member int, from, to int64) []part {
	var parts []part
	for _, p := range x.Parts {
		if r, ok := p.of(member); ok && !p.Past && r.First < to && r.Last >= from {
			parts = append(parts, p)
		}
	}
	return byTime(parts)
}

// ordered lists all parts by their first reading.
func (x *index) ordered() []part { return byTime(slices.Clone(x.Parts)) }

func byTime(parts []part) []part {
	slices.SortStableFunc(parts, func(a, b part) int { return cmp.Compare(a.First, b.First) })
	return parts
}

// eachSpan reads the rows of one member span by span. If another process
// removes a file under our hands, the rest is read from the newest index.
func (s *Store) eachSpan(ctx context.Context, x *index, key ingest.Key, q Query, want columns, yield func(table) error) error {
	from, to, _ := q.bounds()
	const tries = 5
	for range tries {
		parts := x.spans(key.Member, from, to)
		gone, err := s.eachPart(ctx, x, parts, key.Member, q, want, yield)
		if gone < 0 || err != nil {
			return err
		}
		newest, err := s.loadIndex(ctx, x.Bundle.path())
		if err != nil || newest.Generation == x.Generation {
			return &DamagedError{File: s.locate(parts[gone].Name), Series: key.String(), Problem: "it, or its file of superseded values, is missing"}
		}
		x = newest
		// Whatever lies before this span has been handed over.
		from = max(from, x.Bundle.spanOf(parts[gone].First).from)
	}
	return fmt.Errorf("its files changed %d times while being read", tries)
}

// readAhead is how many spans are read at once: enough for a second core, few
// enough that memory stays that of some files.
const readAhead = 2

// eachPart reads one span after the other, decoding the next while the caller
// works on the last. gone is the part of which a file was not there any more,
// or -1.
func (s *Store) eachPart(ctx context.Context, x *index, parts []part, member int, q Query, want columns, yield func(table) error) (gone int, err error) {
	type result struct {
		t   table
		err error
	}
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()
	results := make([]chan result, len(parts))
	started := 0
	for i := range parts {
		for ; started < len(parts) && started < i+readAhead; started++ {
			c, p := make(chan result, 1), &parts[started]
			results[started] = c
			running.Go(func() {
				if err := ctx.Err(); err != nil {
					c <- result{err: err}
					return
				}
				t, err := s.readSpan(ctx, x, p, member, q, want)
				c <- result{t, err}
			})
		}
		r := <-results[i]
		results[i] = nil
		if errors.Is(r.err, fs.ErrNotExist) {
			return i, nil
		}
		if r.err != nil {
			return -1, r.err
		}
		if err := yield(r.t); err != nil {
			return -1, err
		}
	}
	return -1, nil
}

// readSpan reads one member's rows of one span as known at the moment of the query.
func (s *Store) readSpan(ctx context.Context, x *index, p *part, member int, q Query, want columns) (table, error) {
	from, to, asOf := q.bounds()
	if asOf < p.RetrievedLast {
		want |= colRetrieved // to tell what was known
	}
	t, err := s.readPart(ctx, x.Bundle, p, want, wanted{member: member})
	if err != nil {
		return table{}, err
	}
	a, b := t.within(from, to)
	t = t.slice(a, b)
	t.member = nil
	if asOf >= p.RetrievedLast {
		return t, nil
	}
	return s.rewind(ctx, x, p.Span, &t, member, asOf, want)
}

// rewind turns the newest rows of a span into those known at a moment: rows
// that were not yet there give way to what they replaced, if anything.
func (s *Store) rewind(ctx context.Context, x *index, spanName string, now *table, member int, asOf int64, want columns) (table, error) {
	past, err := s.readPast(ctx, x, spanName, asOf, wanted{member: member})
	if err != nil {
		return table{}, err
	}
	past.member = nil
	return now.rewound(&past, asOf, want), nil
}

// rewound is the newest rows of one member as known at a moment, given those
// that they replaced.
func (t *table) rewound(past *table, asOf int64, want columns) (out table) {
	for i := range t.len() {
		if t.retrieved[i] <= asOf {
			out.takeSome(t, i, want)
		} else if k := versionAt(past, 0, t.time[i], asOf); k >= 0 {
			out.takeSome(past, k, want)
		}
	}
	return out
}

// takeSome appends the wanted columns of row i of u.
func (t *table) takeSome(u *table, i int, want columns) {
	t.time = append(t.time, u.time[i])
	if want&colValue != 0 {
		t.value = append(t.value, u.value[i])
	}
	if want&colQualifier != 0 {
		t.qualifier = append(t.qualifier, u.qualifier[i])
	}
	if want&colApproval != 0 {
		t.approval = append(t.approval, u.approval[i])
	}
	if want&colFlag != 0 {
		t.flag = append(t.flag, u.flag[i])
	}
	if want&colTest != 0 {
		t.test = append(t.test, u.test[i])
	}
	if want&colRetrieved != 0 {
		t.retrieved = append(t.retrieved, u.retrieved[i])
	}
}

// readPast reads the replaced rows of a span that were retrieved by a moment,
// sorted by versions.
func (s *Store) readPast(ctx context.Context, x *index, spanName string, asOf int64, members wanted) (table, error) {
	var all table
	for i := range x.Parts {
		p := &x.Parts[i]
		if p.Span != spanName || !p.Past || p.RetrievedFirst > asOf {
			continue
		}
		if _, ok := p.of(members.member); !ok && !members.all {
			continue
		}
		t, err := s.readPart(ctx, x.Bundle, p, allColumns, members)
		if err != nil {
			return table{}, err
		}
		all.append(&t)
	}
	return all.versions(), nil
}

// readPart reads, checks and decodes one file.
func (s *Store) readPart(ctx context.Context, sh bundle, p *part, want columns, members wanted) (table, error) {
	damaged := func(problem string) error {
		return &DamagedError{File: s.locate(p.Name), Series: sh.key(members.member).String(), Problem: problem}
	}
	data, err := s.bucket.read(ctx, p.Name, p.Bytes)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return table{}, err
	case errors.Is(err, errTooLong):
		return table{}, damaged(err.Error())
	case err != nil:
		return table{}, fmt.Errorf("reading %s: %w", s.locate(p.Name), err)
	}
	if int64(len(data)) != p.Bytes {
		return table{}, damaged(fmt.Sprintf("it has %d bytes, %d were written", len(data), p.Bytes))
	}
	if hashOf(data) != p.SHA256 {
		return table{}, damaged("checksum mismatch")
	}
	t, err := decode(data, want, members)
	if err != nil {
		return table{}, damaged(err.Error())
	}
	if members.all && t.len() != p.Rows {
		return table{}, damaged(fmt.Sprintf("it has %d rows, %d were written", t.len(), p.Rows))
	}
	return t, nil
}

// Keys lists every series of the store, sorted by name.
func (s *Store) Keys(ctx context.Context) ([]ingest.Key, error) {
	return s.keysUnder(ctx, indexFolder)
}

// KeysAt lists the series of one site of a feed and looks at no other: to look at
// every series is dear where there are many, or where each look is a request.
func (s *Store) KeysAt(ctx context.Context, feed, site string) ([]ingest.Key, error) {
	return s.keysUnder(ctx, indexFolder+"/"+escape(feed)+"/"+escape(site))
}

func (s *Store) keysUnder(ctx context.Context, folder string) ([]ingest.Key, error) {
	var keys []ingest.Key
	err := s.eachIndex(ctx, folder, func(x *index) error {
		for _, m := range x.members() {
			keys = append(keys, x.Bundle.key(m))
		}
		return nil
	})
	slices.SortFunc(keys, func(a, b ingest.Key) int { return cmp.Compare(a.String(), b.String()) })
	return keys, err
}

// eachIndex walks the newest index of every bundle under a folder. A damaged one does not keep
// the others from being visited; it is reported at the end.
func (s *Store) eachIndex(ctx context.Context, folder string, yield func(*index) error) error {
	paths, err := s.bundles(ctx, folder)
	if err != nil {
		return err
	}
	var damage []error
	for _, p := range paths {
		if err := ctx.Err(); err != nil {
			return err
		}
		x, err := s.loadIndex(ctx, p)
		if errors.Is(err, errNoIndex) {
			continue
		}
		if d := (*DamagedError)(nil); errors.As(err, &d) {
			damage = append(damage, err)
			continue
		}
		if err != nil {
			return err
		}
		if err := yield(x); err != nil {
			return err
		}
	}
	return errors.Join(damage...)
}

// members lists the members that have readings, in order.
func (x *index) members() []int {
	var all []int
	for i := range x.Parts {
		for _, r := range x.Parts[i].Members {
			for m := r.From; m <= r.To; m++ {
				all = append(all, m)
			}
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// Info is what the store knows of one series without reading it.
type Info struct {
	Key         ingest.Key
	Place       ingest.SiteInfo
	SourceUnit  string
	DayStart    string
	Count       int       // readings, missing ones included
	Replaced    int       // older versions of them that are kept
	First, Last time.Time // UTC
	Retrieved   time.Time // the latest retrieval that changed a reading, of any member
	Bytes       int64     // on the disk, index included; for a member its share by rows
}

// Info describes one series.
func (s *Store) Info(ctx context.Context, key ingest.Key) (Info, error) {
	x, err := s.find(ctx, key)
	if err != nil {
		return Info{}, err
	}
	i := Info{Key: key, Place: x.Place.ingest(), SourceUnit: x.SourceUnit, DayStart: x.DayStart}
	first, last, retrieved := int64(math.MaxInt64), int64(math.MinInt64), int64(math.MinInt64)
	rows, all := 0, 0
	for k := range x.Parts {
		p := &x.Parts[k]
		all += p.Rows
		i.Bytes += p.Bytes
		r, ok := p.of(key.Member)
		if !ok {
			continue
		}
		rows += r.Rows
		if p.Past {
			i.Replaced += r.Rows
			continue
		}
		i.Count += r.Rows
		first, last, retrieved = min(first, r.First), max(last, r.Last), max(retrieved, p.RetrievedLast)
	}
	if text, err := encodeIndex(x); err == nil {
		i.Bytes += int64(len(text))
	}
	if all > 0 {
		i.Bytes = i.Bytes * int64(rows) / int64(all)
	}
	i.First, i.Last, i.Retrieved = time.UnixMicro(first).UTC(), time.UnixMicro(last).UTC(), time.UnixMicro(retrieved).UTC()
	return i, nil
}
