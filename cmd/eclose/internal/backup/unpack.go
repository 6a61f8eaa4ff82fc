package backup

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

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"

	"example.org/eclose/ingest/series"
)

// whole verifies the series of a store that was unpacked.
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
func unpack(in io.Reader, dir string, identities []age.Identity) (m Manifest, err error) {
	in, err = decrypted(in, identities)
	if err != nil {
		return m, err
	}
	z, err := zstd.NewReader(in)
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
	if m.Format != format {
		return m, fmt.Errorf("backup format %d is newer than this program supports (%d); upgrade eclose", m.Format, format)
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
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	_, err = io.Copy(io.MultiWriter(f, h), r)
	if err == nil {
		err = f.Sync()
	}
	return hex.EncodeToString(h.Sum(nil)), errors.Join(err, f.Close())
}

// moveFile moves a file, by copying it where the new place is on another disk.
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
