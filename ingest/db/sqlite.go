package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"

	_ "modernc.org/sqlite" // registers the driver "sqlite"
)

// ErrInUse is wrapped by Open's error when another process holds an SQLite
// file.
var ErrInUse = errors.New("the database is in use by another process")

func openSQLite(ctx context.Context, path string) (*DB, error) {
	if path == "" {
		return nil, errors.New("opening the database: no file named")
	}
	memory := path == ":memory:"
	var unlock func() error
	if !memory {
		if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
			return nil, fmt.Errorf("opening the database %s: %w", path, err)
		}
		var err error
		if unlock, err = lockFile(path + ".lock"); err != nil {
			return nil, fmt.Errorf("opening the database %s: %w", path, err)
		}
	}
	// Transactions begin IMMEDIATE: one that reads first and writes later can
	// then never fail half way for want of the lock. synchronous=FULL: what we
	// say was sent must still be known after a power cut. secure_delete: what a
	// person had deleted must not lie on in the file's free pages. cache_size: 16 MB
	// of pages, which take about twice that; with 64 MB nothing was quicker.
	q := url.Values{"_txlock": {"immediate"}, "_pragma": {
		"busy_timeout(10000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)", "temp_store(MEMORY)", "cache_size(-16384)",
	}}
	s, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: q.Encode()}).String())
	if err == nil {
		// River's advice for SQLite, and ours: one connection, no lock errors.
		s.SetMaxOpenConns(1)
		s.SetConnMaxLifetime(0)
		if err = s.PingContext(ctx); err != nil {
			err = errors.Join(err, s.Close())
		}
	}
	if err != nil {
		if unlock != nil {
			err = errors.Join(err, unlock())
		}
		return nil, fmt.Errorf("opening the database %s: %w", path, err)
	}
	return &DB{Dialect: SQLite, SQL: s, name: path, unlock: unlock}, nil
}

func inUse(path string, holder []byte) error {
	who := "its lock is " + path
	if len(holder) > 0 {
		who = "process " + string(holder) + " holds " + path
	}
	return fmt.Errorf("%w (%s); stop it first, or use PostgreSQL, which supports several processes", ErrInUse, who)
}
