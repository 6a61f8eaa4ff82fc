package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"
)

// CompactStats is what Compact did.
type CompactStats struct {
	Merged  int // files of replaced values merged into others
	Removed int // stray files removed
	Bytes   int64
}

// sharedGrace is how old a stray file on shared storage must be before it is
// taken for dead: a change under way elsewhere has files that no index names yet.
const sharedGrace = 24 * time.Hour

// Compact merges the files of replaced values span by span and removes what
// crashes left behind. It changes no reading. now tells the age of stray files
// on shared storage.
func (s *Store) Compact(ctx context.Context, now time.Time) (CompactStats, error) {
	var done CompactStats
	if err := s.mayWrite(); err != nil {
		return done, err
	}
	named := map[string]bool{}
	var damage []*DamagedError
	paths, err := s.bundles(ctx, indexFolder)
	if err != nil {
		return done, err
	}
	for _, p := range paths {
		x, err := s.loadIndex(ctx, p)
		if err == nil {
			_, err = s.change(ctx, x.Bundle, func(x *index, b *batch) (Change, error) {
				return Change{}, b.mergePast(ctx, x, &done)
			})
		}
		if err == nil {
			x, err = s.loadIndex(ctx, p)
		}
		d := (*DamagedError)(nil)
		switch {
		case errors.As(err, &d):
			// Its files are kept as they are; the rest goes on.
			damage = append(damage, d)
			if x == nil {
				continue
			}
		case errors.Is(err, errNoIndex):
			continue
		case err != nil:
			return done, fmt.Errorf("compacting %s: %w", p, err)
		}
		for i := range x.Parts {
			named[x.Parts[i].Name] = true
		}
	}
	err = s.eachStray(ctx, named, damage, func(o object) error {
		if !s.sole && now.Sub(o.mod) < sharedGrace {
			return nil
		}
		if err := s.bucket.remove(ctx, o.name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		done.Removed++
		done.Bytes += o.size
		return nil
	})
	if err != nil {
		return done, fmt.Errorf("compacting series store %s: %w", s.url, err)
	}
	errs := make([]error, len(damage))
	for i, d := range damage {
		errs[i] = d
	}
	return done, errors.Join(errs...)
}

// mergePast merges the files of replaced values of each span, as far as the
// longest file allows.
func (b *batch) mergePast(ctx context.Context, x *index, done *CompactStats) error {
	for _, sp := range x.spanNames() {
		var group []part
		rows := 0
		flush := func() error {
			if len(group) > 1 {
				var all table
				for i := range group {
					t, err := b.store.readPart(ctx, x.Bundle, &group[i], allColumns, wanted{all: true})
					if err != nil {
						return err
					}
					all.append(&t)
				}
				sorted := all.versions()
				at := slices.IndexFunc(x.Parts, func(p part) bool { return p.Name == group[0].Name })
				x.Parts = slices.DeleteFunc(x.Parts, func(p part) bool {
					return slices.ContainsFunc(group, func(q part) bool { return q.Name == p.Name })
				})
				if err := b.write(ctx, x, sp, true, &sorted); err != nil {
					return err
				}
				// The merged file takes the place of its parts: of two versions
				// with one retrieval time the later file's counts.
				last := x.Parts[len(x.Parts)-1]
				x.Parts = slices.Insert(x.Parts[:len(x.Parts)-1], at, last)
				done.Merged += len(group)
			}
			group, rows = nil, 0
			return nil
		}
		for _, p := range slices.Clone(x.Parts) {
			if p.Span != sp || !p.Past {
				continue
			}
			if rows+p.Rows > maxPastRows {
				if err := flush(); err != nil {
					return err
				}
			}
			group = append(group, p)
			rows += p.Rows
		}
		if err := flush(); err != nil {
			return err
		}
	}
	return nil
}
