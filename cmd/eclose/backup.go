package main

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

type backupCmd struct {
	configFlag
	Out string `required:"" help:"Backup file to write, e.g. eclose-2026-05-18.backup." placeholder:"FILE" type:"path"`
}

// manifest closes a backup: one without it was cut off.
type manifest struct {
	Format int               `json:"format"`
	Made   time.Time         `json:"made"`
	Files  map[string]string `json:"files"` // SHA-256 by name
}

const (
	backupFormat  = 1
	manifestName  = "manifest.json"
	databaseEntry = "database.sqlite"
	storePrefix   = "store/"
	maxEntry      = 4 << 30
)

// localOnly returns the two places of a config that a backup holds, or says what
// to do instead.
func localOnly(cfg *config.Config) (database, store string, err error) {
	database, ok := strings.CutPrefix(cfg.DatabaseURL(), "sqlite://")
	if !ok {
		return "", "", app.Usagef("the database is PostgreSQL: back it up with pg_dump or continuous archiving, and turn on bucket versioning for the readings")
	}
	store, ok = strings.CutPrefix(cfg.StoreURL(), "file://")
	if !ok {
		return "", "", app.Usagef("the readings are stored on %s: use bucket versioning or the provider's backup", cfg.Store)
	}
	return filepath.FromSlash(database), filepath.FromSlash(store), nil
}

// Run writes database, series, outlooks and exports into one file. It may run
// while eclose serve does. The database is copied first: whatever a row names was
// written before the row, so the files copied after it are all there.
func (c backupCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	database, storeDir, err := localOnly(cfg)
	if err != nil {
		return err
	}
	tmp, err := os.MkdirTemp(filepath.Dir(c.Out), ".eclose-backup-*")
	if err != nil {
		return fmt.Errorf("making the backup: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(tmp)) }()
	copied := filepath.Join(tmp, databaseEntry)
	if err := db.Snapshot(e.ctx, database, copied); err != nil {
		return err
	}
	m := manifest{Format: backupFormat, Made: e.now().UTC(), Files: map[string]string{}}
	err = export.File(c.Out, func(w io.Writer) error { return writeBackup(e.ctx, w, copied, storeDir, &m) })
	if err != nil {
		return fmt.Errorf("making the backup: %w", err)
	}
	info, err := os.Stat(c.Out)
	if err != nil {
		return fmt.Errorf("making the backup: %w", err)
	}
	fmt.Fprintf(e.stdout, "%s: %d files, %.1f MB\n", c.Out, len(m.Files), float64(info.Size())/1e6)
	return nil
}

func writeBackup(ctx context.Context, w io.Writer, database, storeDir string, m *manifest) error {
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

// keptFolders lie beside the series in the store: outlooks, exports, the slices
// of shared backtests, and what the intake notes of a feed.
var keptFolders = []string{"outlooks", "exports", "backtests", "notes"}

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
	for _, folder := range keptFolders {
		err := files.List(ctx, folder, func(name string, _ int64) error {
			data, err := files.Read(ctx, name, maxEntry)
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
