package backup

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"os"

	"github.com/klauspost/compress/zstd"

	"example.org/eclose/ingest/series"
)

// pack writes the copy of a database and the files of a store as one archive.
func pack(ctx context.Context, w io.Writer, database, storeDir string, m *Manifest) error {
	z, err := zstd.NewWriter(w)
	if err != nil {
		return err
	}
	t := tar.NewWriter(z)
	put := func(name string, size int64, r io.Reader) error {
		h := sha256.New()
		if err := t.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: size, ModTime: m.Made, Format: tar.FormatPAX}); err != nil {
			return err
		}
		if _, err := io.Copy(io.MultiWriter(t, h), r); err != nil {
			return err
		}
		if name != manifestName {
			m.Files[name] = hex.EncodeToString(h.Sum(nil))
		}
		return nil
	}
	f, err := os.Open(database)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // it was only read
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if err := put(databaseEntry, info.Size(), f); err != nil {
		return err
	}
	if err := eachStored(ctx, storeDir, func(name string, data []byte) error {
		return put(storePrefix+name, int64(len(data)), bytes.NewReader(data))
	}); err != nil {
		return err
	}
	text, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return err
	}
	if err := put(manifestName, int64(len(text)), bytes.NewReader(text)); err != nil {
		return err
	}
	return errors.Join(t.Close(), z.Close())
}

// KeptFolders lie beside the series in the store: outlooks, exports, the slices
// of shared backtests, what the intake notes of a feed, official warnings, and
// flood stages, which the caution needs.
var KeptFolders = []string{"outlooks", "exports", "backtests", "notes", "warnings", "flood-stages"}

func eachStored(ctx context.Context, storeDir string, yield func(name string, data []byte) error) error {
	store, err := series.Open(ctx, storeDir, series.ReadOnly())
	if err != nil {
		return err
	}
	defer store.Close() //nolint:errcheck // it was only read
	if err := store.Snapshot(ctx, yield); err != nil {
		return err
	}
	files, err := series.OpenFiles(ctx, storeDir)
	if err != nil {
		return err
	}
	defer files.Close() //nolint:errcheck // it was only read
	for _, folder := range KeptFolders {
		err := files.List(ctx, folder, func(name string, _ int64) error {
			data, err := files.Read(ctx, name, largestFile)
			if err != nil {
				return err
			}
			return yield(name, data)
		})
		if err != nil {
			return err
		}
	}
	return nil
}
