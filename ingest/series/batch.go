package series

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"example.org/eclose/ingest"
)

// batch is a change of one bundle under way: it writes new files and notes them
// in the next index. It goes span by span, so that its memory does not grow
// with the number of years.
type batch struct {
	store      *Store
	bundle     bundle
	generation int64
	written    []string
}

// same says whether the edit left the index as it was.
func (b *batch) same(old, next *index) bool {
	if len(b.written) > 0 || len(old.Parts) != len(next.Parts) {
		return false
	}
	return len(next.Parts) == 0 || old.Place.equal(next.Place) && old.SourceUnit == next.SourceUnit && old.DayStart == next.DayStart
}

// discard removes the files of a change that came to nothing. On shared
// storage they may be another process's too and are left to Compact.
func (b *batch) discard(ctx context.Context) {
	if !b.store.sole {
		return
	}
	for _, name := range b.written {
		b.store.bucket.remove(context.WithoutCancel(ctx), name) //nolint:errcheck // Compact sweeps what stays
	}
}

// put merges rows, sorted by member and time, into the bundle.
func (b *batch) put(ctx context.Context, x *index, rows table) (Change, error) {
	var total Change
	for _, piece := range b.split(&rows) {
		if err := ctx.Err(); err != nil {
			return total, err
		}
		c, err := b.putSpan(ctx, x, piece.span, &piece.rows)
		if err != nil {
			return total, err
		}
		total.add(c)
	}
	return total, nil
}

type piece struct {
	span span
	rows table
}

// split sorts rows into the spans they belong to, earliest span first.
func (b *batch) split(rows *table) []piece {
	at := map[string]int{}
	var out []piece
	for i := 0; i < rows.len(); {
		sp := b.bundle.spanOf(rows.time[i])
		j := i + 1
		for j < rows.len() && sp.holds(rows.time[j]) {
			j++
		}
		k, ok := at[sp.name]
		part := rows.slice(i, j)
		if !ok {
			at[sp.name] = len(out)
			out = append(out, piece{sp, part})
		} else {
			out[k].rows.append(&part)
		}
		i = j
	}
	slices.SortFunc(out, func(p, q piece) int { return cmp.Compare(p.span.from, q.span.from) })
	return out
}

// putSpan merges rows of one span into its newest values, and what they
// replace into its past.
func (b *batch) putSpan(ctx context.Context, x *index, sp span, rows *table) (Change, error) {
	var now table
	for i := range x.Parts {
		if p := &x.Parts[i]; p.Span == sp.name && !p.Past {
			t, err := b.store.readPart(ctx, x.Bundle, p, allColumns, wanted{all: true})
			if err != nil {
				return Change{}, err
			}
			now.append(&t)
		}
	}
	past := func() (table, error) { return b.store.readPast(ctx, x, sp.name, math.MaxInt64, wanted{all: true}) }
	next, replaced, change, err := merge(&now, rows, b.bundle.Ensemble, past)
	if err != nil || next == nil && replaced.len() == 0 {
		return change, err
	}
	if next != nil {
		x.Parts = slices.DeleteFunc(x.Parts, func(p part) bool { return p.Span == sp.name && !p.Past })
		if err := b.write(ctx, x, sp.name, false, next); err != nil {
			return change, err
		}
	}
	if replaced.len() > 0 {
		if err := b.addPast(ctx, x, sp.name, replaced); err != nil {
			return change, err
		}
	}
	return change, nil
}

// merge lays new rows over the newest values of a span. It returns the newest
// values afterwards (nil if they are as before) and the rows that belong in the
// past: values that were replaced, and new rows older than what is known.
func merge(now, rows *table, ensemble bool, loadPast func() (table, error)) (next, replaced *table, change Change, err error) {
	next, replaced = new(table), new(table)
	if now.len() == 0 { // the rows are the span, and need no copy
		if rows.len() == 0 {
			return nil, replaced, change, nil
		}
		return rows, replaced, Change{Added: rows.len()}, nil
	}
	next.grow(now.len()+rows.len(), ensemble)
	var past *table
	changed := false
	i := 0
	for j := range rows.len() {
		for i < now.len() && before(now, i, rows, j) < 0 {
			next.take(now, i)
			i++
		}
		if i == now.len() || before(now, i, rows, j) > 0 {
			next.take(rows, j)
			change.Added++
			changed = true
			continue
		}
		switch {
		case sameReading(now, i, rows, j) && rows.retrieved[j] >= now.retrieved[i]:
			change.Unchanged++
			next.take(now, i)
			if opinion(rows, j) && (rows.flag[j] != now.flag[i] || rows.test[j] != now.test[i]) {
				setFlag(next, rows.flag[j], rows.test[j])
				change.Reflagged++
				changed = true
			}
		case rows.retrieved[j] >= now.retrieved[i]:
			next.take(rows, j)
			if !opinion(rows, j) && sameValue(now.value[i], rows.value[j]) {
				// The agency changed its mind about the reading, not the reading.
				setFlag(next, now.flag[i], now.test[i])
			}
			if rows.retrieved[j] > now.retrieved[i] {
				replaced.take(now, i)
			}
			change.Revised++
			changed = true
		default: // an answer from before the newest value
			next.take(now, i)
			if past == nil {
				t, err := loadPast()
				if err != nil {
					return nil, nil, Change{}, err
				}
				past = &t
			}
			if k := versionAt(past, rows.memberAt(j), rows.time[j], rows.retrieved[j]); k >= 0 && sameReading(past, k, rows, j) {
				change.Unchanged++
			} else {
				replaced.take(rows, j)
				change.Revised++
			}
		}
		i++
	}
	if !changed {
		return nil, replaced, change, nil
	}
	for ; i < now.len(); i++ {
		next.take(now, i)
	}
	return next, replaced, change, nil
}

// opinion says whether a row brings a flag that somebody set.
func opinion(t *table, i int) bool {
	return t.flag[i] != ingest.NotEvaluated && t.flag[i] != ingest.Missing || t.test[i] != ""
}

// setFlag sets the flag of the last row.
func setFlag(t *table, f ingest.Flag, test string) {
	t.flag[t.len()-1], t.test[t.len()-1] = f, test
}

// versionAt finds the row of a member and time that was the newest at a moment
// of retrieval, in a table sorted by versions; -1 if there was none.
func versionAt(t *table, member int32, at, retrieved int64) int {
	lo, hi := 0, t.len()
	for lo < hi { // first row after (member, at, retrieved)
		mid := int(uint(lo+hi) >> 1)
		m := t.memberAt(mid)
		if m < member || m == member && (t.time[mid] < at || t.time[mid] == at && t.retrieved[mid] <= retrieved) {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo == 0 || t.memberAt(lo-1) != member || t.time[lo-1] != at {
		return -1
	}
	return lo - 1
}

// maxPastRows is how long a file of replaced values may grow by merging.
const maxPastRows = 1 << 19

// addPast files replaced rows. Younger files are merged into the new one until
// the next is at least twice as long, so that there are few files and each row
// is rewritten few times.
func (b *batch) addPast(ctx context.Context, x *index, spanName string, rows *table) error {
	all := *rows
	for k, p := range slices.Backward(slices.Clone(x.Parts)) {
		if p.Span != spanName || !p.Past {
			continue
		}
		if p.Rows > 2*all.len() || p.Rows+all.len() > maxPastRows {
			break
		}
		older, err := b.store.readPart(ctx, x.Bundle, &p, allColumns, wanted{all: true})
		if err != nil {
			return err
		}
		older.append(&all)
		all = older
		x.Parts = slices.Delete(x.Parts, k, k+1)
	}
	sorted := all.versions()
	return b.write(ctx, x, spanName, true, &sorted)
}

// write makes a file of a table and appends it to the index.
func (b *batch) write(ctx context.Context, x *index, spanName string, past bool, t *table) error {
	data, err := encode(x.Bundle, x.Place.ingest(), t)
	if err != nil {
		return err
	}
	folder := dataFolder
	if past {
		folder = pastFolder
	}
	p := part{Span: spanName, Past: past, Rows: t.len(), Bytes: int64(len(data)), SHA256: hashOf(data)}
	p.Name = fmt.Sprintf("%s/%s/%s.%09d-%s.parquet", folder, x.Bundle.path(), spanName, b.generation, p.SHA256[:12])
	p.describe(t)
	b.written = append(b.written, p.Name) // before the write, which may leave it behind
	if err := b.store.bucket.write(ctx, p.Name, data); err != nil {
		return err
	}
	x.Parts = append(x.Parts, p)
	return nil
}

// describe fills in what the index says of the rows of a part.
func (p *part) describe(t *table) {
	p.First, p.Last = slices.Min(t.time), slices.Max(t.time)
	p.RetrievedFirst, p.RetrievedLast = slices.Min(t.retrieved), slices.Max(t.retrieved)
	for a := 0; a < t.len(); {
		member := t.memberAt(a)
		b := a + 1
		for b < t.len() && t.memberAt(b) == member {
			b++
		}
		r := run{int(member), int(member), b - a, t.time[a], t.time[b-1]}
		if k := len(p.Members) - 1; k >= 0 {
			last := &p.Members[k]
			if last.To+1 == r.From && last.Rows == r.Rows && last.First == r.First && last.Last == r.Last {
				last.To++
				a = b
				continue
			}
		}
		p.Members = append(p.Members, r)
		a = b
	}
}
