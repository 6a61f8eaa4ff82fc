package main

import (
	"archive/tar"
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

	"github.com/klauspost/compress/zstd"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

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
			return app.Usagef("%s already exists; move it away first: a backup is only restored into an empty installation", p)
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
