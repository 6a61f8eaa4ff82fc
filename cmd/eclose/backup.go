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
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"

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
		return "", "", usagef("the database is PostgreSQL: back it up with pg_dump or continuous archiving, and turn on bucket versioning for the readings")
	}
	store, ok = strings.CutPrefix(cfg.StoreURL(), "file://")
	if !ok {
		return "", "", usagef("the readings are stored on %s: use bucket versioning or the provider's backup", cfg.Store)
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

type restoreCmd struct {
	configFlag
	Backup string `arg:"" help:"Backup file made by 'eclose backup'." type:"existingfile"`
}

// Run puts a backup where the config wants store and database. Everything is
// unpacked and checked beside its place and renamed last.
func (c restoreCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	database, storeDir, err := localOnly(cfg)
	if err != nil {
		return err
	}
	for _, p := range []string{database, storeDir} {
		if _, err := os.Stat(p); !errors.Is(err, fs.ErrNotExist) {
			return usagef("%s already exists; move it away first: a backup is only restored into an empty installation", p)
		}
	}
	for _, p := range []string{filepath.Dir(database), filepath.Dir(storeDir)} {
		if err := os.MkdirAll(p, 0o750); err != nil {
			return fmt.Errorf("restoring %s: %w", c.Backup, err)
		}
	}
	tmp, err := os.MkdirTemp(filepath.Dir(storeDir), ".eclose-restore-*")
	if err != nil {
		return fmt.Errorf("restoring %s: %w", c.Backup, err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(tmp)) }()
	m, err := unpack(c.Backup, tmp)
	if err != nil {
		return fmt.Errorf("restoring %s: %w; nothing was changed", c.Backup, err)
	}
	newStore := filepath.Join(tmp, strings.TrimSuffix(storePrefix, "/"))
	if err := os.MkdirAll(newStore, 0o750); err != nil {
		return fmt.Errorf("restoring %s: %w", c.Backup, err)
	}
	seriesIn, err := whole(e.ctx, newStore)
	if err != nil {
		return fmt.Errorf("restoring %s: %w; nothing was changed", c.Backup, err)
	}
	// The database may lie on another disk: then it is copied, not renamed.
	if err := moveFile(filepath.Join(tmp, databaseEntry), database); err != nil {
		return fmt.Errorf("restoring %s: %w", c.Backup, err)
	}
	if err := os.Rename(newStore, storeDir); err != nil {
		return fmt.Errorf("restoring %s: %w", c.Backup, err)
	}
	d, err := db.OpenMigrated(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	fmt.Fprintf(e.stdout, "restored backup from %s: %d files, %d series\n", m.Made.Format("2006-01-02 15:04 UTC"), len(m.Files), seriesIn)
	return nil
}

func whole(ctx context.Context, storeDir string) (int, error) {
	store, err := series.Open(ctx, storeDir, series.ReadOnly())
	if err != nil {
		return 0, err
	}
	defer store.Close() //nolint:errcheck // it was only read
	r, err := store.Verify(ctx)
	if err != nil {
		return 0, err
	}
	if len(r.Damaged) > 0 {
		return 0, r.Damaged[0]
	}
	return r.Series, nil
}

// unpack writes the files of a backup under a folder and checks each against the
// manifest.
func unpack(backup, dir string) (m manifest, err error) {
	f, err := os.Open(backup)
	if err != nil {
		return m, err
	}
	defer f.Close() //nolint:errcheck // it was only read
	z, err := zstd.NewReader(f)
	if err != nil {
		return m, err
	}
	defer z.Close()
	t := tar.NewReader(z)
	found := map[string]string{}
	for {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return m, fmt.Errorf("not a backup, or incomplete: %w", err)
		}
		if h.Name == manifestName {
			text, err := io.ReadAll(io.LimitReader(t, 1<<30))
			if err == nil {
				err = json.Unmarshal(text, &m)
			}
			if err != nil {
				return m, fmt.Errorf("reading its manifest: %w", err)
			}
			continue
		}
		// Only names that we write: nothing in a file may lead out of the folder.
		if h.Typeflag != tar.TypeReg || !fs.ValidPath(h.Name) || strings.ContainsRune(h.Name, '\\') || h.Name != databaseEntry && !strings.HasPrefix(h.Name, storePrefix) {
			return m, fmt.Errorf("not an Eclose backup: unexpected entry %q", h.Name)
		}
		if found[h.Name], err = unpackFile(filepath.Join(dir, filepath.FromSlash(path.Clean(h.Name))), t); err != nil {
			return m, err
		}
	}
	if m.Format == 0 {
		return m, errors.New("incomplete: the manifest is missing")
	}
	if m.Format != backupFormat {
		return m, fmt.Errorf("backup format %d is newer than this program supports (%d); upgrade eclose", m.Format, backupFormat)
	}
	for name, sum := range m.Files {
		if found[name] != sum {
			return m, fmt.Errorf("%s in it is damaged or missing", name)
		}
	}
	if len(found) != len(m.Files) {
		return m, errors.New("it contains files not listed in its manifest")
	}
	return m, nil
}

func unpackFile(to string, r io.Reader) (sum string, err error) {
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil { //nolint:gosec // as the store makes its folders
		return "", err
	}
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644) //nolint:gosec // as the store makes its files
	if err != nil {
		return "", err
	}
	h := sha256.New()
	_, err = io.Copy(io.MultiWriter(f, h), io.LimitReader(r, maxEntry))
	if err == nil {
		err = f.Sync()
	}
	return hex.EncodeToString(h.Sum(nil)), errors.Join(err, f.Close())
}

func moveFile(from, to string) error {
	if err := os.Rename(from, to); err == nil {
		return nil
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close() //nolint:errcheck // it was only read
	_, err = unpackFile(to, in)
	return err
}
