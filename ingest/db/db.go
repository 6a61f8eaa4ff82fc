package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Dialect is which database stands behind a DB.
type Dialect string

// The two dialects.
const (
	SQLite   Dialect = "sqlite"
	Postgres Dialect = "postgres"
)

// DB is an open database. SQL serves queries on either dialect; Pool is nil on
// SQLite and is what River's pgx driver wants on PostgreSQL. Both use the same
// connections.
type DB struct {
	Dialect Dialect
	SQL     *sql.DB
	Pool    *pgxpool.Pool

	name string    // what may be shown of the URL: never the password
	lock *fileLock // of an SQLite file that we write to; nil: none is needed

	unhost func() error // stops running the statements of others
}

// Querier runs statements: a DB's SQL, or a Tx.
type Querier interface {
	ExecContext(context.Context, string, ...any) (sql.Result, error)
	PrepareContext(context.Context, string) (*sql.Stmt, error)
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
	QueryRowContext(context.Context, string, ...any) *sql.Row
}

// Open opens the database that url names: a file path or sqlite://path, or
// postgres://…. It does not change the schema: see Migrate.
//
// An SQLite file has one writer at a time. A second one gets ErrInUse, which
// says who it is: see OpenWriter and OpenReader.
func Open(ctx context.Context, url string) (*DB, error) {
	path, remote, err := placeOf(url)
	if err != nil || remote {
		return openPostgresOr(ctx, url, err)
	}
	return openSQLite(ctx, path, 0)
}

// placeOf tells an SQLite file from a URL of PostgreSQL.
func placeOf(url string) (path string, remote bool, err error) {
	switch {
	case url == "":
		return "", false, errors.New("opening the database: no URL; use an SQLite file or postgres://…")
	case strings.HasPrefix(url, "postgres://"), strings.HasPrefix(url, "postgresql://"):
		return "", true, nil
	}
	scheme, rest, ok := strings.Cut(url, "://")
	if !ok {
		return url, false, nil
	}
	if scheme != "sqlite" {
		return "", false, fmt.Errorf("opening the database: unknown scheme %q; use a file path, sqlite://path or postgres://…", scheme)
	}
	return rest, false, nil
}

func openPostgresOr(ctx context.Context, url string, err error) (*DB, error) {
	if err != nil {
		return nil, err
	}
	return openPostgres(ctx, url)
}

// OpenMigrated is Open followed by Migrate.
func OpenMigrated(ctx context.Context, url string) (*DB, error) {
	d, err := Open(ctx, url)
	return migrated(ctx, d, err)
}

func migrated(ctx context.Context, d *DB, err error) (*DB, error) {
	if err != nil {
		return nil, err
	}
	if err := d.Migrate(ctx); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return d, nil
}

// commandsTake is how long the write of a command may hold the lock of a file
// before another gives up; our own default.
const commandsTake = 10 * time.Second

// OpenToServe opens and migrates the database for a process that stays. On an
// SQLite file it then runs the writes of other processes: see OpenWriter.
func OpenToServe(ctx context.Context, url string) (*DB, error) {
	path, remote, err := placeOf(url)
	if err != nil || remote {
		d, err := openPostgresOr(ctx, url, err)
		return migrated(ctx, d, err)
	}
	d, err := openSQLite(ctx, path, commandsTake)
	if d, err = migrated(ctx, d, err); err != nil {
		return nil, err
	}
	if err := d.host(ctx); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return d, nil
}

// OpenWriter opens and migrates the database for a command that writes and
// ends. Where a server has an SQLite file, the server runs its statements.
func OpenWriter(ctx context.Context, url string) (*DB, error) {
	path, remote, err := placeOf(url)
	if err != nil || remote {
		d, err := openPostgresOr(ctx, url, err)
		return migrated(ctx, d, err)
	}
	for end := time.Now().Add(commandsTake); ; {
		d, err := openSQLite(ctx, path, commandsTake)
		if err == nil || !errors.Is(err, ErrInUse) {
			return migrated(ctx, d, err)
		}
		_, socket := holderOf(lockPath(path))
		if socket == "" {
			return nil, err
		}
		guest, visitErr := visit(ctx, path, socket)
		if visitErr == nil {
			if visitErr = guest.fits(ctx); visitErr == nil {
				return guest, nil
			}
			return nil, errors.Join(visitErr, guest.Close())
		}
		if !time.Now().Before(end) { // it was stopping, and did not
			return nil, errors.Join(err, visitErr)
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(lockEvery):
		}
	}
}

// OpenReader opens the database to read, whoever writes to it meanwhile. It
// makes no file: one that does not exist is an error that wraps fs.ErrNotExist.
func OpenReader(ctx context.Context, url string) (*DB, error) {
	path, remote, err := placeOf(url)
	if err != nil || remote {
		d, err := openPostgresOr(ctx, url, err)
		return migrated(ctx, d, err)
	}
	d, err := openSQLiteReader(ctx, path)
	if err != nil {
		return nil, err
	}
	err = d.fits(ctx)
	if err == nil {
		return d, nil
	}
	err = errors.Join(err, d.Close())
	if !errors.Is(err, errOlder) {
		return nil, err
	}
	w, werr := OpenWriter(ctx, url) // which migrates it, unless an older server has it
	if werr != nil {
		return nil, errors.Join(err, werr)
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return openSQLiteReader(ctx, path)
}

// Name is what may be printed of the URL.
func (d *DB) Name() string { return d.name }

// Close gives the connections and the lock back.
func (d *DB) Close() error {
	var err error
	if d.unhost != nil {
		err = d.unhost()
	}
	err = errors.Join(err, d.SQL.Close())
	if d.Pool != nil {
		d.Pool.Close()
	}
	if d.lock != nil {
		err = errors.Join(err, d.lock.release())
	}
	if err != nil {
		return fmt.Errorf("closing the database %s: %w", d.name, err)
	}
	return nil
}

// Tx is a running transaction. It is a Querier on either dialect; one of SQL
// and Pgx is set, for River's InsertTx.
type Tx struct {
	Querier
	Dialect Dialect
	SQL     *sql.Tx // SQLite
	Pgx     pgx.Tx  // PostgreSQL: the same connection as Querier
}

// Alone waits until no other transaction that named the same thing is under way, so that
// what is read from now on is not written by another before this one ends. On SQLite every
// transaction that writes is alone anyway.
func (t *Tx) Alone(ctx context.Context, name string) error {
	if t.Dialect != Postgres {
		return nil
	}
	if _, err := t.ExecContext(ctx, "SELECT pg_advisory_xact_lock(hashtext('eclose ' || current_schema()), hashtext($1))", name); err != nil {
		return fmt.Errorf("waiting to be alone with %s: %w", name, err)
	}
	return nil
}

// Tx runs do in one transaction: all of it happens, or nothing.
func (d *DB) Tx(ctx context.Context, do func(*Tx) error) (err error) {
	if d.Dialect == Postgres {
		return d.txPostgres(ctx, do)
	}
	tx, err := d.SQL.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("beginning a transaction: %w", err)
	}
	// After a commit this does nothing; after an error or a panic it undoes all.
	defer func() { _ = tx.Rollback() }()
	if err := do(&Tx{Querier: tx, Dialect: d.Dialect, SQL: tx}); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("committing a transaction: %w", err)
	}
	return nil
}

// Served says whether a server has the SQLite file that url names, and runs the
// writes of others.
func Served(url string) bool {
	path, remote, err := placeOf(url)
	if err != nil || remote || path == memory {
		return false
	}
	l, err := takeLock(lockPath(path))
	if err == nil {
		_ = l.release()
		return false
	}
	_, socket := holderOf(lockPath(path))
	return socket != ""
}
