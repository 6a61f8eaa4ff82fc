package series

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sync"
)

// dirBucket is a bucket in a folder of the local disk. It syncs what it writes:
// otherwise a renamed file may be empty after a power cut.
type dirBucket struct {
	root string
	lock *os.File // nil if opened to read

	mu    sync.Mutex
	dirty map[string]bool // folders whose entries are not known to be on the disk
}

// tempPrefix marks a file that is still being written; it starts with a dot so
// that no listing of ours or of others takes it for data.
const tempPrefix = ".writing-"

func newDirBucket(root string) *dirBucket {
	return &dirBucket{root: root, dirty: map[string]bool{}}
}

func (d *dirBucket) path(name string) string {
	return filepath.Join(d.root, filepath.FromSlash(name))
}

func (d *dirBucket) read(_ context.Context, name string, limit int64) ([]byte, error) {
	f, err := os.Open(d.path(name))
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // it was only read from
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if info.Size() > limit {
		return nil, errTooLong
	}
	data := make([]byte, info.Size())
	if _, err := io.ReadFull(f, data); err != nil {
		return nil, fmt.Errorf("reading %s: %w", d.path(name), err)
	}
	return data, nil
}

func (d *dirBucket) write(_ context.Context, name string, data []byte) (err error) {
	final := d.path(name)
	folder := filepath.Dir(final)
	if err := d.makeFolder(folder); err != nil {
		return err
	}
	f, err := os.CreateTemp(folder, tempPrefix+"*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()           //nolint:errcheck // the first error is the one that counts
			os.Remove(f.Name()) //nolint:errcheck // swept later if this fails
		}
	}()
	if _, err := f.Write(data); err != nil {
		return fmt.Errorf("writing %s: %w", final, cause(err))
	}
	if err := f.Chmod(0o644); err != nil && runtime.GOOS != "windows" {
		return fmt.Errorf("writing %s: %w", final, cause(err))
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("writing %s: %w", final, cause(err))
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("writing %s: %w", final, cause(err))
	}
	if err := os.Rename(f.Name(), final); err != nil {
		return err
	}
	d.mark(folder)
	return nil
}

// cause drops the name of the temporary file from an error, since it means
// nothing to the reader.
func cause(err error) error {
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return p.Err
	}
	return err
}

// makeFolder is os.MkdirAll that remembers which folders must be synced for the
// new ones to last.
func (d *dirBucket) makeFolder(folder string) error {
	if _, err := os.Stat(folder); err == nil {
		return nil
	}
	parent := filepath.Dir(folder)
	if parent != folder && len(parent) >= len(d.root) {
		if err := d.makeFolder(parent); err != nil {
			return err
		}
	}
	if err := os.Mkdir(folder, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	d.mark(parent)
	return nil
}

func (d *dirBucket) mark(folder string) {
	d.mu.Lock()
	d.dirty[folder] = true
	d.mu.Unlock()
}

func (d *dirBucket) flush(context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	for folder := range d.dirty {
		if err := syncFolder(folder); err != nil {
			return fmt.Errorf("syncing folder %s: %w", folder, err)
		}
		delete(d.dirty, folder)
	}
	return nil
}

func syncFolder(folder string) error {
	if runtime.GOOS == "windows" {
		return nil // NTFS journals its folders and has no call to sync one
	}
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // it was only read from
	return f.Sync()
}

// create needs no atomic test for existence: the lock admits one writer.
func (d *dirBucket) create(ctx context.Context, name string, data []byte) error {
	if err := d.flush(ctx); err != nil {
		return err
	}
	if _, err := os.Lstat(d.path(name)); err == nil {
		return fmt.Errorf("%s: %w", d.path(name), fs.ErrExist)
	}
	if err := d.write(ctx, name, data); err != nil {
		return err
	}
	return d.flush(ctx)
}

func (d *dirBucket) remove(_ context.Context, name string) error {
	return os.Remove(d.path(name))
}

func (d *dirBucket) list(ctx context.Context, folder string, yield func(object) error) error {
	return filepath.WalkDir(d.path(folder), func(path string, e fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // removed since its folder was listed, or never there
		}
		if err != nil {
			return err
		}
		if e.IsDir() {
			return ctx.Err()
		}
		info, err := e.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(d.root, path)
		if err != nil {
			return err
		}
		return yield(object{filepath.ToSlash(rel), info.Size(), info.ModTime()})
	})
}

func (d *dirBucket) close() error {
	if d.lock == nil {
		return nil
	}
	return d.lock.Close() // which also gives up the lock
}
