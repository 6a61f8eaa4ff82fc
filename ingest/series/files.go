package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
)

// Files keeps whole files beside the series of a store: outlooks, exports. A
// name is decided by what the file holds, so writing it twice does no harm and
// no lock is needed.
type Files struct {
	url    string
	bucket bucket
}

// ErrNoFile is wrapped by the error of Read where there is no such file.
var ErrNoFile = errors.New("no such file")

// OpenFiles opens the same places as Open, but the folders of the series are out
// of its reach.
func OpenFiles(ctx context.Context, storeURL string) (*Files, error) {
	folder, local, err := folderOf(storeURL)
	if err != nil {
		return nil, err
	}
	if local {
		return &Files{folder, newDirBucket(folder)}, nil
	}
	b, err := openBucket(ctx, storeURL)
	if err != nil {
		return nil, fmt.Errorf("opening the files of %s: %w", storeURL, err)
	}
	return &Files{storeURL, b}, nil
}

// Files are the whole files beside the series of s; s is closed by itself.
func (s *Store) Files() *Files { return &Files{s.url, s.bucket} }

// Write keeps data under name. It appears whole or not at all, and what Write
// returns from lasts through a power cut.
func (f *Files) Write(ctx context.Context, name string, data []byte) error {
	if err := mayName(name); err != nil {
		return err
	}
	if err := f.bucket.write(ctx, name, data); err != nil {
		return fmt.Errorf("writing %s to %s: %w", name, f.url, err)
	}
	if err := f.bucket.flush(ctx); err != nil {
		return fmt.Errorf("writing %s to %s: %w", name, f.url, err)
	}
	return nil
}

// Read returns a file of at most limit bytes.
func (f *Files) Read(ctx context.Context, name string, limit int64) ([]byte, error) {
	data, err := f.bucket.read(ctx, name, limit)
	if errors.Is(err, fs.ErrNotExist) {
		err = ErrNoFile
	}
	if err != nil {
		return nil, fmt.Errorf("reading %s of %s: %w", name, f.url, err)
	}
	return data, nil
}

// Remove removes a file; one that is not there is no error.
func (f *Files) Remove(ctx context.Context, name string) error {
	if err := mayName(name); err != nil {
		return err
	}
	if err := f.bucket.remove(ctx, name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("removing %s of %s: %w", name, f.url, err)
	}
	return nil
}

// List walks the names under a folder in any order.
func (f *Files) List(ctx context.Context, folder string, yield func(name string, bytes int64) error) error {
	err := f.bucket.list(ctx, folder, func(o object) error {
		if strings.HasPrefix(path.Base(o.name), tempPrefix) {
			return nil
		}
		return yield(o.name, o.size)
	})
	if err != nil {
		return fmt.Errorf("listing %s of %s: %w", folder, f.url, err)
	}
	return nil
}

// Folder is where the files lie on the local disk; "" if they lie elsewhere.
func (f *Files) Folder() string {
	if d, ok := f.bucket.(*dirBucket); ok {
		return d.root
	}
	return ""
}

// Close gives up the connection.
func (f *Files) Close() error { return f.bucket.close() }

// mayName refuses names that lead out of the place or into the series' own
// folders.
func mayName(name string) error {
	first, _, sub := strings.Cut(name, "/")
	if !sub || !fs.ValidPath(name) || strings.ContainsRune(name, '\\') {
		return fmt.Errorf("%q is not a name for a file of the store", name)
	}
	switch first {
	case "index", "data", "past":
		return fmt.Errorf("%q lies in a folder that belongs to the series", name)
	}
	return nil
}
