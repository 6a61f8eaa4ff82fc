package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	_ "modernc.org/sqlite" // registers the driver "sqlite"
)

// ErrInUse is wrapped by Open's error when another process holds an SQLite
// file.
var ErrInUse = errors.New("the database is in use by another process")

const memory = ":memory:"

// openSQLite opens a file as its one writer. It waits for so long for a command
// that writes and ends; for a server it does not wait.
func openSQLite(ctx context.Context, path string, wait time.Duration) (*DB, error) {
	if path == "" {
		return nil, errors.New("opening the database: no file named")
	}
	d := &DB{Dialect: SQLite, name: path}
	if path != memory {
		if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
			return nil, fmt.Errorf("opening the database %s: %w", path, err)
		}
		var err error
		if d.lock, err = waitForLock(ctx, lockPath(path), wait); err != nil {
			return nil, fmt.Errorf("opening the database %s: %w", path, err)
		}
		if err := keepPrivate(path); err != nil {
			return nil, fmt.Errorf("opening the database %s: %w", path, errors.Join(err, d.lock.release()))
		}
	}
	// Transactions begin IMMEDIATE: one that reads first and writes later can
	// then never fail half way for want of the lock. synchronous=FULL: what we
	// say was sent must still be known after a power cut. secure_delete: what a
	// person had deleted must not lie on in the file's free pages. cache_size: 16 MB
	// of pages, which take about twice that; with 64 MB nothing was quicker.
	s, err := openFile(ctx, path, url.Values{"_txlock": {"immediate"}, "_pragma": {
		"busy_timeout(10000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)", "temp_store(MEMORY)", "cache_size(-16384)",
	}})
	if err != nil {
		if d.lock != nil {
			err = errors.Join(err, d.lock.release())
		}
		return nil, fmt.Errorf("opening the database %s: %w", path, err)
	}
	d.SQL = s
	return d, nil
}

// openSQLiteReader opens a file to read it, whoever writes to it meanwhile.
func openSQLiteReader(ctx context.Context, path string) (*DB, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("opening the database: %w", err)
	}
	s, err := openFile(ctx, path, url.Values{"_pragma": {"busy_timeout(10000)", "query_only(1)", "temp_store(MEMORY)"}})
	if err != nil {
		return nil, fmt.Errorf("opening the database %s to read: %w", path, err)
	}
	return &DB{Dialect: SQLite, SQL: s, name: path}, nil
}

func openFile(ctx context.Context, path string, q url.Values) (*sql.DB, error) {
	s, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: q.Encode()}).String())
	if err != nil {
		return nil, err
	}
	// River's advice for SQLite, and ours: one connection, no lock errors.
	s.SetMaxOpenConns(1)
	s.SetConnMaxLifetime(0)
	if err := s.PingContext(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// keepPrivate makes a new file for its owner alone, and takes the rights of
// others from one that has them: it holds addresses.
func keepPrivate(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	for _, p := range []string{path, path + "-wal", path + "-shm"} {
		if err := ownerOnly(p); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// ownerOnly takes the rights of others from a file.
func ownerOnly(path string) error {
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm()&0o077 == 0 {
		return err
	}
	if err := os.Chmod(path, 0o600); err != nil {
		return fmt.Errorf("others may read %s, and that cannot be changed: %w", path, err)
	}
	return nil
}

func lockPath(database string) string { return database + ".lock" }

// fileLock is the lock of a database file. Its file says who holds it and, for
// a server, on which socket it takes the writes of others.
type fileLock struct {
	path string
	file *os.File
}

// lockEvery is how often somebody who waits for a lock tries.
const lockEvery = 50 * time.Millisecond

func waitForLock(ctx context.Context, path string, wait time.Duration) (*fileLock, error) {
	for end := time.Now().Add(wait); ; {
		l, err := takeLock(path)
		if err == nil || !errors.Is(err, ErrInUse) || !time.Now().Before(end) {
			return l, err
		}
		if _, socket := holderOf(path); socket != "" { // a server, which does not end soon
			return nil, err
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(lockEvery):
		}
	}
}

// say writes who holds the lock.
func (l *fileLock) say(socket string) error {
	text := fmt.Sprintf("%d\n%s\n", os.Getpid(), socket)
	if err := l.file.Truncate(0); err != nil {
		return fmt.Errorf("writing %s: %w", l.path, err)
	}
	if _, err := l.file.WriteAt([]byte(text), 0); err != nil {
		return fmt.Errorf("writing %s: %w", l.path, err)
	}
	return nil
}

// release gives the lock up; a second call does nothing.
func (l *fileLock) release() error {
	if err := l.file.Close(); err != nil && !errors.Is(err, os.ErrClosed) {
		return err
	}
	return nil
}

func inUse(path string) error {
	who := "its lock is " + path
	if pid, _ := holderOf(path); pid != "" {
		who = "process " + pid + " holds " + path
	}
	return fmt.Errorf("%w (%s); stop it first, or use PostgreSQL, which supports several processes", ErrInUse, who)
}
