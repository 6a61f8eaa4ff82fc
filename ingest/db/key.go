package db

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/eclose/ingest/db/internal/sqlc"
)

// linksKey is the key that the links of mails are made with; the others follow
// from it where they share its file.
const linksKey = "links"

// KeyFile is where the key of the links is kept beside an SQLite file: not in
// it, so that copies and backups of the database give no power over anybody's
// subscription. Empty for PostgreSQL, which keeps it in the table secret: all
// machines share it.
func KeyFile(url string) string {
	path, remote, err := placeOf(url)
	if err != nil || remote || path == memory {
		return ""
	}
	return path + ".key"
}

// Key returns the key of that name, 32 random bytes made on first use and the
// same ever after, whichever process asks.
func (d *DB) Key(ctx context.Context, name string, now time.Time) ([]byte, error) {
	if d.Dialect == Postgres || d.name == memory {
		return tableKey(ctx, d.SQL, name, now)
	}
	key, err := d.fileKey(ctx)
	if err != nil {
		return nil, fmt.Errorf("reading the key of the links: %w", err)
	}
	if name == linksKey {
		return key, nil
	}
	m := hmac.New(sha256.New, key)
	m.Write([]byte("eclose key " + name)) // a hash never fails to be written to
	return m.Sum(nil), nil
}

// fileKey reads the key file, or makes it: with the key that an earlier version
// kept in the database, if there is one, else with a new one.
func (d *DB) fileKey(ctx context.Context) ([]byte, error) {
	path := KeyFile(d.name)
	key, err := readKey(path)
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	key = make([]byte, 32)
	_, _ = rand.Read(key) // never fails: see crypto/rand
	old, err := sqlc.New(d.SQL).Secret(ctx, linksKey)
	if err = doing(err, "looking for an earlier one"); err != nil && !errors.Is(err, ErrNotFound) {
		return nil, err
	}
	if err == nil {
		if key, err = hex.DecodeString(old); err != nil {
			return nil, errors.New("the one in the database is not hexadecimal")
		}
	}
	if err := writeKey(path, key); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, err
	}
	return readKey(path) // another process may have been quicker
}

// forgetTableKeys takes the keys that an earlier version kept in the database
// out of it, once they are in their file.
func (d *DB) forgetTableKeys(ctx context.Context) error {
	if d.Dialect == Postgres || d.name == memory {
		return nil
	}
	var n int
	if err := d.SQL.QueryRowContext(ctx, "SELECT COUNT(*) FROM secret").Scan(&n); err != nil || n == 0 {
		return err
	}
	if _, err := d.fileKey(ctx); err != nil {
		return err
	}
	_, err := d.SQL.ExecContext(ctx, "DELETE FROM secret")
	return err
}

func readKey(path string) ([]byte, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if err := ownerOnly(path); err != nil {
		return nil, err
	}
	key, err := hex.DecodeString(strings.TrimSpace(string(b)))
	if err != nil || len(key) != 32 {
		return nil, fmt.Errorf("%s does not hold 64 hexadecimal digits; put the saved key file back, or move this one away: a new one is made then, and the links in mails already sent, unsubscribing among them, stop working", path)
	}
	return key, nil
}

// writeKey makes a key file, whole or not at all; fs.ErrExist if there is one.
func writeKey(path string, key []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".eclose-key-*") // for its owner alone
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) //nolint:errcheck // its other name stays
	_, err = fmt.Fprintln(f, hex.EncodeToString(key))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Link(f.Name(), path)
}

func tableKey(ctx context.Context, q Querier, name string, now time.Time) ([]byte, error) {
	var b [32]byte
	_, _ = rand.Read(b[:]) // never fails: see crypto/rand
	r := sqlc.New(q)
	if err := r.AddSecret(ctx, sqlc.AddSecretParams{Name: name, Value: hex.EncodeToString(b[:]), MadeAt: Micros(now)}); err != nil {
		return nil, fmt.Errorf("making the key %s: %w", name, err)
	}
	v, err := r.Secret(ctx, name)
	if err != nil {
		return nil, fmt.Errorf("reading the key %s: %w", name, err)
	}
	key, err := hex.DecodeString(v)
	if err != nil {
		return nil, fmt.Errorf("reading the key %s: it is not hexadecimal", name)
	}
	return key, nil
}

// CopyKey puts a saved key file in its place.
func CopyKey(from, to string) error {
	b, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	key, err := hex.DecodeString(strings.TrimSpace(string(b)))
	if err != nil || len(key) != 32 {
		return fmt.Errorf("%s does not hold 64 hexadecimal digits", from)
	}
	return writeKey(to, key)
}
