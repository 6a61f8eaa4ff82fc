package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
)

// Snapshot writes a copy of an SQLite file as it stands into a new file. It may
// run while another process has the database open: it only reads.
func Snapshot(ctx context.Context, path, into string) (err error) {
	doing := func(err error) error { return fmt.Errorf("copying the database %s: %w", path, err) }
	if _, err := os.Stat(path); err != nil {
		return doing(err)
	}
	if _, err := os.Stat(into); !errors.Is(err, fs.ErrNotExist) {
		return doing(fmt.Errorf("%s exists already", into))
	}
	q := url.Values{"mode": {"ro"}, "_pragma": {"busy_timeout(30000)"}}
	s, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: q.Encode()}).String())
	if err != nil {
		return doing(err)
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	// VACUUM INTO writes into an empty file that is there, with its rights.
	f, err := os.OpenFile(into, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return doing(err)
	}
	if err := f.Close(); err != nil {
		return doing(err)
	}
	if _, err := s.ExecContext(ctx, "VACUUM INTO $1", into); err != nil {
		return doing(err)
	}
	var fine string
	c, err := sql.Open("sqlite", into)
	if err != nil {
		return doing(err)
	}
	defer func() { err = errors.Join(err, c.Close()) }()
	if err := c.QueryRowContext(ctx, "PRAGMA integrity_check").Scan(&fine); err != nil {
		return doing(err)
	}
	if fine != "ok" {
		return doing(fmt.Errorf("the copy is damaged: %s", fine))
	}
	return nil
}
