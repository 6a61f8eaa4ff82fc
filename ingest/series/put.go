package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"slices"
	"sort"
	"time"

	"example.org/eclose/ingest"
)

// Change counts what a Put did to the readings of the store.
type Change struct {
	Added     int // readings at times not known before
	Revised   int // readings that differ from the one known at their retrieval time
	Unchanged int // readings that say what was known already
	Reflagged int // among the unchanged ones: those whose flag changed
}

func (c *Change) add(d Change) {
	c.Added += d.Added
	c.Revised += d.Revised
	c.Unchanged += d.Unchanged
	c.Reflagged += d.Reflagged
}

// Put takes in one series as retrieved at one moment. See PutAll.
func (s *Store) Put(ctx context.Context, one ingest.Series, at time.Time) (Change, error) {
	return s.PutAll(ctx, []ingest.Series{one}, at)
}

// PutAll takes in series as retrieved at one moment. Members of one ensemble
// given together are written together, which is much cheaper than one by one.
// What it returns has been written to the disk; after an error everything
// stored before is still there, and the same call may be made again. Each bundle
// (one series, or one ensemble) is changed as a whole or not at all.
//
// A flag other than "not evaluated" replaces the flag of the reading it comes
// with. Where a series brings no flags, a reading whose value is unchanged
// keeps its own. The column Retrieved of the series is ignored.
func (s *Store) PutAll(ctx context.Context, all []ingest.Series, at time.Time) (Change, error) {
	if err := s.mayWrite(); err != nil {
		return Change{}, err
	}
	var order []bundle
	groups := map[bundle][]*ingest.Series{}
	for i := range all {
		one := &all[i]
		if err := one.Check(); err != nil {
			return Change{}, fmt.Errorf("storing: %w", err)
		}
		if one.Member < 0 || one.Member > 1<<20 {
			return Change{}, fmt.Errorf("storing: series %s: member %d is not one", one.Key, one.Member)
		}
		sh := bundleOf(one.Key)
		if err := checkBundle(sh); err != nil {
			return Change{}, fmt.Errorf("storing: %w", err)
		}
		if groups[sh] == nil {
			order = append(order, sh)
		}
		groups[sh] = append(groups[sh], one)
	}
	var total Change
	for _, sh := range order {
		group := groups[sh]
		c, err := s.change(ctx, sh, func(x *index, b *batch) (Change, error) {
			describe(x, group)
			return b.put(ctx, x, rowsOf(group, at.UnixMicro()))
		})
		if err != nil {
			return total, fmt.Errorf("storing %s: %w", sh.key(group[0].Member), err)
		}
		total.add(c)
	}
	return total, nil
}

// describe notes what the series say of themselves; silence changes nothing.
func describe(x *index, group []*ingest.Series) {
	for _, one := range group {
		if p := placeOf(one.Place); p.Name != "" || p.Zone != "" || p.Lat != nil && p.Lon != nil && (*p.Lat != 0 || *p.Lon != 0) {
			if p.Zone == "" {
				p.Zone = x.Place.Zone // not every endpoint of a feed knows the zone
			}
			x.Place = p
		}
		if one.SourceUnit != "" {
			x.SourceUnit = one.SourceUnit
		}
		if one.DayStart != "" {
			x.DayStart = one.DayStart
		}
	}
}

// rowsOf lays the series of one bundle end to end, in order of member and time.
// Where two of them give the same member and time, the later one counts unless
// it is missing and the earlier is not, as within one series of ingest.
func rowsOf(group []*ingest.Series, retrieved int64) table {
	if len(group) == 1 {
		return tableOf(group[0], retrieved)
	}
	var t table
	for _, one := range group {
		u := tableOf(one, retrieved)
		t.append(&u)
	}
	order := make([]int, t.len())
	for i := range order {
		order[i] = i
	}
	compare := func(i, j int) int { return before(&t, i, &t, j) }
	if !slices.IsSortedFunc(order, compare) {
		sort.SliceStable(order, func(a, b int) bool { return compare(order[a], order[b]) < 0 })
	}
	kept := order[:0:0]
	for _, i := range order {
		if k := len(kept); k > 0 && compare(kept[k-1], i) == 0 {
			if t.flag[i] != ingest.Missing || t.flag[kept[k-1]] == ingest.Missing {
				kept[k-1] = i
			}
			continue
		}
		kept = append(kept, i)
	}
	var out table
	out.grow(len(kept), t.member != nil)
	for _, i := range kept {
		out.take(&t, i)
	}
	return out
}

// change runs one change of a bundle: from the newest index to the next one.
// On shared storage another process may be faster; then it starts again.
func (s *Store) change(ctx context.Context, sh bundle, edit func(*index, *batch) (Change, error)) (Change, error) {
	path := sh.path()
	m := s.writer(path)
	m.Lock()
	defer m.Unlock()
	const tries = 20
	for try := range tries {
		if try > 0 {
			// Step back for a while, each process another while.
			select {
			case <-ctx.Done():
				return Change{}, ctx.Err()
			case <-time.After(rand.N(time.Duration(try) * 20 * time.Millisecond)):
			}
		}
		old, err := s.loadIndex(ctx, path)
		if errors.Is(err, errNoIndex) {
			old = &index{Format: indexFormat, Bundle: sh}
		} else if err != nil {
			return Change{}, err
		}
		next := *old
		next.Generation++
		next.Parts = slices.Clone(old.Parts)
		b := &batch{store: s, bundle: sh, generation: next.Generation}
		change, err := edit(&next, b)
		if err == nil && b.same(old, &next) {
			return change, nil
		}
		if err == nil {
			err = s.commit(ctx, old, &next, b)
		} else {
			b.discard(ctx)
			if errors.Is(err, fs.ErrNotExist) && s.superseded(ctx, old) {
				err = errRace // the winner removed a file that we were about to read
			}
		}
		if errors.Is(err, errRace) {
			continue
		}
		return change, err
	}
	return Change{}, fmt.Errorf("changed by other processes %d times in a row; run one writer at a time", tries)
}

// errRace says that another process wrote the generation we meant to write.
var errRace = errors.New("another process wrote first")

// superseded says whether another process wrote a later index than this one.
func (s *Store) superseded(ctx context.Context, x *index) bool {
	if s.sole {
		return false
	}
	newest, err := s.newestGeneration(ctx, x.Bundle.path())
	return err == nil && newest > x.Generation
}

// commit makes the next index the newest one and removes what it replaces.
func (s *Store) commit(ctx context.Context, old, next *index, b *batch) error {
	path := next.Bundle.path()
	data, err := encodeIndex(next)
	if err != nil {
		return fmt.Errorf("writing the index: %w", err)
	}
	name := indexName(path, next.Generation)
	err = s.bucket.create(ctx, name, data)
	if errors.Is(err, fs.ErrExist) {
		// Its files stay: on shared storage they may be the winner's as well.
		// Compact sweeps what nobody names.
		return errRace
	}
	if err != nil {
		// It may have arrived all the same: then nothing it names may be removed.
		s.forget(path)
		if newest, listErr := s.newestGeneration(context.WithoutCancel(ctx), path); listErr == nil && newest < next.Generation {
			b.discard(ctx)
		}
		return fmt.Errorf("writing the index: %w", err)
	}
	if !s.sole {
		// A name is free again once its generation is superseded and removed.
		newest, err := s.newestGeneration(ctx, path)
		if err != nil {
			return err
		}
		if newest > next.Generation {
			return errRace
		}
	}
	s.remember(path, next)
	s.removeReplaced(ctx, old, next)
	return nil
}

// removeReplaced removes the files of an index that its successor does not
// name. What cannot be removed is left for Compact: it does no harm.
func (s *Store) removeReplaced(ctx context.Context, old, next *index) {
	ctx = context.WithoutCancel(ctx)
	path := next.Bundle.path()
	named := map[string]bool{}
	for i := range next.Parts {
		named[next.Parts[i].Name] = true
	}
	for i := range old.Parts {
		if name := old.Parts[i].Name; !named[name] {
			s.bucket.remove(ctx, name) //nolint:errcheck // see above
		}
	}
	if old.Generation > 0 {
		s.bucket.remove(ctx, indexName(path, old.Generation)) //nolint:errcheck // see above
	}
}

func (s *Store) forget(bundlePath string) {
	s.mu.Lock()
	delete(s.indexes, bundlePath)
	s.mu.Unlock()
}
