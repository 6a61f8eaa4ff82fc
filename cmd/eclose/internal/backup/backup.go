package backup

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"filippo.io/age"

	"example.org/eclose/ingest/db"
)

// Manifest closes a backup: one without it was cut off.
type Manifest struct {
	Format int               `json:"format"`
	Made   time.Time         `json:"made"`
	Files  map[string]string `json:"files"` // SHA-256 by name
}

const (
	format        = 1
	manifestName  = "manifest.json"
	databaseEntry = "database.sqlite"
	storePrefix   = "store/"
	largestFile   = 4 << 30 // of the store, which is read whole; the database is streamed
)

// errEncrypted is wrapped where a backup is encrypted and no identity opens it.
var errEncrypted = errors.New("the backup is encrypted; name the file with your age identity")

// Write backs a database file and a store folder up into a new file, for its
// owner alone. The database is copied first: whatever a row names was written
// before the row, so the files read after it are all there.
func Write(ctx context.Context, out, database, store string, now time.Time, to []age.Recipient) (m Manifest, size int64, err error) {
	tmp, err := os.MkdirTemp(filepath.Dir(out), ".eclose-backup-*")
	if err != nil {
		return m, 0, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(tmp)) }()
	copied, half := filepath.Join(tmp, databaseEntry), filepath.Join(tmp, "backup")
	if err := db.Snapshot(ctx, database, copied); err != nil {
		return m, 0, err
	}
	m = Manifest{Format: format, Made: now.UTC(), Files: map[string]string{}}
	f, err := os.OpenFile(half, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return m, 0, err
	}
	if err := errors.Join(encrypt(f, to, func(w io.Writer) error { return pack(ctx, w, copied, store, &m) }), f.Sync(), f.Close()); err != nil {
		return m, 0, err
	}
	info, err := os.Stat(half)
	if err != nil {
		return m, 0, err
	}
	return m, info.Size(), os.Rename(half, out)
}

func encrypt(w io.Writer, to []age.Recipient, write func(io.Writer) error) error {
	if len(to) == 0 {
		return write(w)
	}
	e, err := age.Encrypt(w, to...)
	if err != nil {
		return err
	}
	return errors.Join(write(e), e.Close())
}

const ageHeader = "age-encryption.org/"

func decrypted(r io.Reader, identities []age.Identity) (io.Reader, error) {
	in := bufio.NewReaderSize(r, 1<<20)
	head, _ := in.Peek(len(ageHeader)) // a file that is too short is no backup: unpack says so
	if !bytes.Equal(head, []byte(ageHeader)) {
		return in, nil
	}
	if len(identities) == 0 {
		return nil, errEncrypted
	}
	out, err := age.Decrypt(in, identities...)
	if err != nil {
		return nil, fmt.Errorf("decrypting: %w", err)
	}
	return out, nil
}

// Restored is what a backup held.
type Restored struct {
	Manifest
	Series int
}

// Restore puts a backup where database and store are to be; neither may exist.
// Everything is unpacked and checked beside its place and renamed last.
func Restore(ctx context.Context, backup, database, store string, identities []age.Identity) (out Restored, err error) {
	for _, p := range []string{filepath.Dir(database), filepath.Dir(store)} {
		if err := os.MkdirAll(p, 0o750); err != nil {
			return out, err
		}
	}
	tmp, err := os.MkdirTemp(filepath.Dir(store), ".eclose-restore-*")
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(tmp)) }()
	if out, err = unpackAndCheck(ctx, backup, tmp, identities); err != nil {
		return out, fmt.Errorf("%w; nothing was changed", err)
	}
	// The database may lie on another disk: then it is copied, not renamed.
	if err := moveFile(filepath.Join(tmp, databaseEntry), database); err != nil {
		return out, err
	}
	return out, os.Rename(filepath.Join(tmp, strings.TrimSuffix(storePrefix, "/")), store)
}

func unpackAndCheck(ctx context.Context, backup, dir string, identities []age.Identity) (out Restored, err error) {
	f, err := os.Open(backup)
	if err != nil {
		return out, err
	}
	defer f.Close() //nolint:errcheck // it was only read
	if out.Manifest, err = unpack(f, dir, identities); err != nil {
		return out, err
	}
	store := filepath.Join(dir, strings.TrimSuffix(storePrefix, "/"))
	if err := os.MkdirAll(store, 0o750); err != nil {
		return out, err
	}
	if out.Series, err = whole(ctx, store); err != nil {
		return out, err
	}
	return out, db.CheckPages(ctx, filepath.Join(dir, databaseEntry))
}

// Verify restores a backup into a temporary folder beside it, checks every file,
// every series and the pages of the database, and removes it all again.
func Verify(ctx context.Context, backup string, identities []age.Identity) (out Restored, err error) {
	tmp, err := os.MkdirTemp(filepath.Dir(backup), ".eclose-verify-*")
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(tmp)) }()
	return unpackAndCheck(ctx, backup, tmp, identities)
}
