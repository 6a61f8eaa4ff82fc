package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
)

// Snapshot hands over every file of the series as they stand, each whole and
// checked against its hash: all files of a bundle, then the index that names
// them. It may run while another process writes; each bundle is then as it was
// at some moment of the call. Files that a crash left behind are not handed over.
func (s *Store) Snapshot(ctx context.Context, yield func(name string, data []byte) error) error {
	paths, err := s.bundles(ctx, indexFolder)
	if err != nil {
		return err
	}
	for _, p := range paths {
		given := map[string]bool{}
		const tries = 10
		for try := 1; ; try++ {
			err := s.snapshotBundle(ctx, p, given, yield)
			if errors.Is(err, errNoIndex) {
				break
			}
			if errors.Is(err, fs.ErrNotExist) && try < tries {
				continue // replaced while we read: the next index names other files
			}
			if err != nil {
				return fmt.Errorf("copying the series under %s: %w", p, err)
			}
			break
		}
	}
	return nil
}

func (s *Store) snapshotBundle(ctx context.Context, bundlePath string, given map[string]bool, yield func(string, []byte) error) error {
	x, err := s.loadIndex(ctx, bundlePath)
	if err != nil {
		return err
	}
	name := indexName(bundlePath, x.Generation)
	text, err := s.bucket.read(ctx, name, maxIndexBytes)
	if err != nil {
		return err
	}
	for i := range x.Parts {
		p := &x.Parts[i]
		if given[p.Name] {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		data, err := s.bucket.read(ctx, p.Name, p.Bytes)
		if err != nil {
			return err
		}
		if int64(len(data)) != p.Bytes || hashOf(data) != p.SHA256 {
			return &DamagedError{File: s.locate(p.Name), Problem: "its checksum is not that of the index"}
		}
		if err := yield(p.Name, data); err != nil {
			return err
		}
		given[p.Name] = true
	}
	return yield(name, text)
}
