package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

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

	name   string // what may be shown of the URL: never the password
	unlock func() error
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
// An SQLite file belongs to one process at a time. A second process gets
// ErrInUse, which says who holds it.
func Open(ctx context.Context, url string) (*DB, error) {
	switch {
	case url == "":
		return nil, errors.New("opening the database: no URL; use an SQLite file or postgres://…")
	case strings.HasPrefix(url, "postgres://"), strings.HasPrefix(url, "postgresql://"):
		return openPostgres(ctx, url)
	}
	path := url
	if scheme, rest, ok := strings.Cut(url, "://"); ok {
		if scheme != "sqlite" {
			return nil, fmt.Errorf("opening the database: unknown scheme %q; use a file path, sqlite://path or postgres://…", scheme)
		}
		path = rest
	}
	return openSQLite(ctx, path)
}

// OpenMigrated is Open followed by Migrate: what a command wants.
func OpenMigrated(ctx context.Context, url string) (*DB, error) {
	d, err := Open(ctx, url)
	if err != nil {
		return nil, err
	}
	if err := d.Migrate(ctx); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return d, nil
}

// Name is what may be printed of the URL.
func (d *DB) Name() string { return d.name }

// Close gives the connections and the lock back.
func (d *DB) Close() error {
	err := d.SQL.Close()
	if d.Pool != nil {
		d.Pool.Close()
	}
	if d.unlock != nil {
		err = errors.Join(err, d.unlock())
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
