package export

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// File writes a file so that it appears under its name complete or not at all:
// it is written beside it, flushed to the disk and renamed. An older file of the
// name stays untouched until then, and for good when write fails.
func File(path string, write func(io.Writer) error) (err error) {
	dir, base := filepath.Split(path)
	if dir == "" {
		dir = "."
	}
	f, err := os.CreateTemp(dir, "."+base+".*.part")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()           //nolint:errcheck // already failing; a second close is harmless
			os.Remove(f.Name()) //nolint:errcheck // nothing more to be done about it
		}
	}()
	// CreateTemp makes the file private; an export is meant to be read.
	if err := f.Chmod(0o644); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	if err := write(f); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("flushing %s to the disk: %w", path, err)
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("closing %s: %w", path, err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("putting %s in place: %w", path, err)
	}
	// The rename itself must reach the disk; not every system can sync a folder.
	if d, err := os.Open(dir); err == nil {
		d.Sync()  //nolint:errcheck // best effort by the system's means
		d.Close() //nolint:errcheck // opened for reading only
	}
	return nil
}
