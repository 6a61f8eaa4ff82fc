package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
)

// Report is what Verify found.
type Report struct {
	Series  int
	Files   int // Parquet files checked
	Rows    int // in them
	Bytes   int64
	Damaged []*DamagedError
	Strays  []string // files that no index names: left by a crash, harmless; Compact removes them
}

// Verify reads every file of the store, checks its hash against the index,
// decodes it, and checks that its rows are what the index says: number, order,
// span. Damage goes into the report; the error says why the check itself could
// not be done.
func (s *Store) Verify(ctx context.Context) (Report, error) {
	var r Report
	paths, err := s.bundles(ctx, indexFolder)
	if err != nil {
		return r, err
	}
	named := map[string]bool{}
	for _, p := range paths {
		x, err := s.loadIndex(ctx, p)
		if s.sole {
			// Not from memory: what lies on the disk is to be checked.
			s.forget(p)
			x, err = s.loadIndex(ctx, p)
		}
		d := (*DamagedError)(nil)
		switch {
		case errors.As(err, &d):
			r.Damaged = append(r.Damaged, d)
			continue
		case errors.Is(err, errNoIndex):
			continue
		case err != nil:
			return r, err
		}
		r.Series += len(x.members())
		for i := range x.Parts {
			part := &x.Parts[i]
			named[part.Name] = true
			if err := ctx.Err(); err != nil {
				return r, err
			}
			err := s.verifyPart(ctx, x, part)
			if errors.Is(err, fs.ErrNotExist) {
				if s.replacedSince(ctx, x) {
					continue
				}
				err = &DamagedError{File: s.locate(part.Name), Series: x.Bundle.key(0).String(), Problem: "missing"}
			}
			if errors.As(err, &d) {
				r.Damaged = append(r.Damaged, d)
				continue
			}
			if err != nil {
				return r, err
			}
			r.Files++
			r.Rows += part.Rows
			r.Bytes += part.Bytes
		}
	}
	err = s.eachStray(ctx, named, r.Damaged, func(o object) error {
		r.Strays = append(r.Strays, s.locate(o.name))
		return nil
	})
	slices.Sort(r.Strays)
	return r, err
}

// replacedSince says whether another process has changed a bundle.
func (s *Store) replacedSince(ctx context.Context, x *index) bool {
	newest, err := s.newestGeneration(ctx, x.Bundle.path())
	return err == nil && newest != x.Generation
}

func (s *Store) verifyPart(ctx context.Context, x *index, p *part) error {
	t, err := s.readPart(ctx, x.Bundle, p, allColumns, wanted{all: true})
	if err != nil {
		return err
	}
	damaged := func(format string, args ...any) error {
		return &DamagedError{File: s.locate(p.Name), Series: x.Bundle.key(0).String(), Problem: fmt.Sprintf(format, args...)}
	}
	for i := range t.len() {
		if x.Bundle.spanOf(t.time[i]).name != p.Span {
			return damaged("row %d lies outside %s", i, p.Span)
		}
		if i == 0 {
			continue
		}
		order := before(&t, i-1, &t, i)
		if order > 0 || order == 0 && (!p.Past || t.retrieved[i-1] >= t.retrieved[i]) {
			return damaged("row %d does not follow row %d", i, i-1)
		}
	}
	have := part{}
	have.describe(&t)
	if have.First != p.First || have.Last != p.Last || have.RetrievedFirst != p.RetrievedFirst || have.RetrievedLast != p.RetrievedLast || !slices.Equal(have.Members, p.Members) {
		return damaged("its rows are not those the index describes")
	}
	return nil
}

// eachStray walks the files that no index names: parts of changes that were
// cut short, and indexes that have a successor. Files of a bundle whose index
// is damaged are nobody's strays.
func (s *Store) eachStray(ctx context.Context, named map[string]bool, damaged []*DamagedError, yield func(object) error) error {
	doubtful := map[string]bool{}
	for _, d := range damaged {
		if d.bundle != "" {
			for _, folder := range []string{indexFolder, dataFolder, pastFolder} {
				doubtful[folder+"/"+d.bundle] = true
			}
		}
	}
	stray := func(o object) error {
		if named[o.name] || doubtful[path.Dir(o.name)] {
			return nil
		}
		return yield(o)
	}
	newest := map[string]int64{}
	var indexes []object
	collect := func(o object) error {
		if g, ok := generationOf(o.name); ok {
			folder := path.Dir(o.name)
			newest[folder] = max(newest[folder], g)
			indexes = append(indexes, o)
			return nil
		}
		return stray(o)
	}
	if err := s.bucket.list(ctx, indexFolder, collect); err != nil {
		return fmt.Errorf("looking for stray files: %w", err)
	}
	for _, o := range indexes {
		if g, _ := generationOf(o.name); g < newest[path.Dir(o.name)] {
			if err := stray(o); err != nil {
				return err
			}
		}
	}
	for _, folder := range []string{dataFolder, pastFolder} {
		if err := s.bucket.list(ctx, folder, stray); err != nil {
			return fmt.Errorf("looking for stray files: %w", err)
		}
	}
	return nil
}
