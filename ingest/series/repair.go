package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path"
	"slices"
	"strings"
)

// damagedFolder is where Repair puts what cannot be read.
const damagedFolder = "damaged"

// Repaired is one damaged file that was put aside.
type Repaired struct {
	File   string // where it was
	Aside  string // where it is now; empty: it was missing
	Feed   string // whose series it belongs to
	Site   string
	Whole  bool // it was the index: everything of the series has to be fetched again
	Parts  int  // files of readings that were put aside with an index
	Reason string
}

// Repair puts each damaged file aside under its name, in the folder damaged, and
// takes it out of the index, so that the rest can be read and written again.
// What it held is gone from the store until it is fetched anew.
func (s *Store) Repair(ctx context.Context) ([]Repaired, error) {
	if err := s.mayWrite(); err != nil {
		return nil, err
	}
	paths, err := s.bundles(ctx, indexFolder)
	if err != nil {
		return nil, err
	}
	var out []Repaired
	for _, p := range paths {
		s.forget(p) // what lies on the disk is to be looked at
		x, err := s.loadIndex(ctx, p)
		d := (*DamagedError)(nil)
		switch {
		case errors.As(err, &d):
			r, err := s.repairIndex(ctx, p, d)
			if err != nil {
				return out, err
			}
			out = append(out, r)
			continue
		case errors.Is(err, errNoIndex):
			continue
		case err != nil:
			return out, err
		}
		more, err := s.repairParts(ctx, x)
		out = append(out, more...)
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

// repairIndex puts an index aside, and before it the files of readings that only
// it could name: Compact takes what no index names for the leavings of a crash,
// and what they hold may be had from nowhere else. The damaged index goes last,
// so that a repair that was cut short goes on the next time.
func (s *Store) repairIndex(ctx context.Context, bundlePath string, d *DamagedError) (Repaired, error) {
	r := Repaired{File: d.File, Whole: true, Reason: d.Problem}
	r.Feed, r.Site = feedAndSite(bundlePath)
	newest, err := s.newestGeneration(ctx, bundlePath)
	if err != nil {
		return r, err
	}
	for _, folder := range []string{dataFolder, pastFolder, indexFolder} {
		var names []string
		err := s.bucket.list(ctx, folder+"/"+bundlePath, func(o object) error {
			if path.Dir(o.name) == folder+"/"+bundlePath && o.name != indexName(bundlePath, newest) {
				names = append(names, o.name)
			}
			return nil
		})
		if err != nil {
			return r, fmt.Errorf("looking for the files of %s: %w", bundlePath, err)
		}
		for _, name := range names {
			if _, err := s.putAside(ctx, name); err != nil {
				return r, err
			}
			if folder != indexFolder {
				r.Parts++
			}
		}
	}
	r.Aside, err = s.putAside(ctx, indexName(bundlePath, newest))
	s.forget(bundlePath)
	return r, err
}

func (s *Store) repairParts(ctx context.Context, x *index) (out []Repaired, err error) {
	var bad []string
	for i := range x.Parts {
		part := &x.Parts[i]
		err := s.verifyPart(ctx, x, part)
		d := (*DamagedError)(nil)
		reason := "missing"
		switch {
		case err == nil:
			continue
		case errors.As(err, &d):
			reason = d.Problem
		case !errors.Is(err, fs.ErrNotExist):
			return out, err
		}
		r := Repaired{File: s.locate(part.Name), Feed: x.Bundle.key(0).Feed, Site: x.Bundle.key(0).Site, Reason: reason}
		if d != nil {
			if r.Aside, err = s.putAside(ctx, part.Name); err != nil {
				return out, err
			}
		}
		bad, out = append(bad, part.Name), append(out, r)
	}
	if len(bad) == 0 {
		return out, nil
	}
	_, err = s.change(ctx, x.Bundle, func(x *index, _ *batch) (Change, error) {
		x.Parts = slices.DeleteFunc(x.Parts, func(p part) bool { return slices.Contains(bad, p.Name) })
		return Change{}, nil
	})
	return out, err
}

// putAside moves a file into the folder of damaged ones.
func (s *Store) putAside(ctx context.Context, name string) (string, error) {
	data, err := s.bucket.read(ctx, name, largestAside)
	if err != nil {
		return "", fmt.Errorf("putting %s aside: %w", s.locate(name), err)
	}
	to := damagedFolder + "/" + name
	if err := s.bucket.write(ctx, to, data); err != nil {
		return "", fmt.Errorf("putting %s aside: %w", s.locate(name), err)
	}
	if err := s.bucket.remove(ctx, name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("putting %s aside: %w", s.locate(name), err)
	}
	return s.locate(to), nil
}

// largestAside bounds what is read of a damaged file.
const largestAside = 1 << 30

func feedAndSite(bundlePath string) (feed, site string) {
	words := strings.SplitN(bundlePath, "/", 3)
	for i, w := range words {
		if u, err := url.PathUnescape(w); err == nil {
			words[i] = u
		}
	}
	if len(words) < 2 {
		return bundlePath, ""
	}
	return words[0], words[1]
}
